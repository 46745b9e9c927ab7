"""The text of one of our TOML files as its head and its tables, each with the remarks right above it.

A person's own lines, remarks and blanks stay as they are when a table is moved, copied, changed or taken out.
"""

from __future__ import annotations

import re
from itertools import pairwise

_HEAD = re.compile(r"^\s*\[\[?[A-Za-z_.]+\]\]?\s*(#.*)?$")


def blocks(text: str) -> list[str]:
    r"""The head of the file and its tables, in order; joined they are the text again.

    >>> blocks('title = "a"\n\n# the first\n[[ply]]\nangle = 0\n')
    ['title = "a"\n\n', '# the first\n[[ply]]\nangle = 0\n']
    """
    from layup.partfile.lines import open_after

    lines = text.splitlines(keepends=True)
    starts = [0]
    state, depth = "", 0
    for number, line in enumerate(lines):
        if not state and depth <= 0 and _HEAD.match(line):
            at = number
            while at > 0 and lines[at - 1].lstrip().startswith("#"):
                at -= 1
            starts.append(at)
            continue
        state, depth = open_after(line, state, max(depth, 0))
    bounds = [*dict.fromkeys(starts), len(lines)]
    return ["".join(lines[a:b]) for a, b in pairwise(bounds)] or [""]


def header(block: str) -> str:
    r"""First line of a table that is no remark: `[[ply]]`; "" for the head of a file that begins with a key.

    >>> header("# the first\n[[ply]]  # here\nangle = 0\n")
    '[[ply]]'
    """
    for line in block.splitlines():
        if line.strip() and not line.lstrip().startswith("#"):
            return line.split("#")[0].strip()
    return ""
