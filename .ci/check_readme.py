"""Fail when the output shown in the README is not what its first command printed."""

import sys
from pathlib import Path

readme, output = (Path(name).read_text(encoding="utf-8") for name in sys.argv[1:3])
lines = output.splitlines()
start = next(i for i, line in enumerate(lines) if line.startswith("Engine-bay door"))
shown = "\n".join(lines[start:]).rstrip()
if shown not in readme:
    print("The README's output is stale. This is what the command printed:\n")
    print(shown)
    raise SystemExit(1)
print("fresh")
