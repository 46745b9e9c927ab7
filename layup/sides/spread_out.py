"""A compiled pass over many things, in blocks, on all cores.

Compiled functions that let go of the interpreter's lock run side by side in threads. The blocks are the same for any
number of cores, so that sums over them are too.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

Result = TypeVar("Result")

BLOCK = 131_072
"""Things in a block. [-]"""


def over_blocks(run: Callable[[int, int], Result], count: int, block: int = BLOCK) -> list[Result]:
    """Call `run(start, stop)` for every block of `count` things; the results in the order of the blocks.

    Args:
        run: A function that works on things start to stop, and on nothing that another block changes.
        count: How many things. [-]
        block: Things in a block. [-]
    """
    starts = range(0, count, block)
    if len(starts) < 2:
        return [run(start, min(start + block, count)) for start in starts]
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        return list(pool.map(lambda start: run(start, min(start + block, count)), starts))
