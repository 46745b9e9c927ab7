"""The blocks of a document on the terminal; what is there for the pencil, boxes to tick and to write in, stays away."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from layup.report.document import Block, Facts, Grid, Plate, Words

GAP = 2
"""Cells between two columns."""


def as_text(blocks: Iterable[Block], gap: int = GAP) -> list[RenderableType]:
    """Blocks as rich renderables, an empty line before each; pictures are left out.

    Args:
        blocks: What to show, in order.
        gap: Cells between two columns of a table.

    Returns:
        Renderables for one `Group`.
    """
    shown: list[RenderableType] = []
    for block in blocks:
        if not isinstance(block, Plate):
            shown += [Text(), *_block(block, gap)]
    return shown


def grid_text(grid: Grid, gap: int = GAP) -> Table:
    """A table without lines: its heads dim, its first column set in by two cells."""
    grid = grid.to_read()
    table = Table(box=None, pad_edge=False, padding=(0, gap, 0, 0), header_style="dim", show_header=any(grid.head))
    for number, name in enumerate(grid.head):
        right = number in grid.right
        table.add_column(name if number or right else f"  {name}", justify="right" if right else "left")
    for row in grid.rows:
        cells = [Text(cell, style="bold" if number in grid.strong else "") for number, cell in enumerate(row)]
        if 0 not in grid.right:
            cells[0] = Text("  ") + cells[0]
        table.add_row(*cells)
    return table


def _block(block: Block, gap: int) -> list[RenderableType]:
    if isinstance(block, Grid):
        return [grid_text(block, gap)] if block.rows else []
    if isinstance(block, Facts):
        pairs = tuple((label, value.replace("\n", ", ")) for label, value in block.to_read().pairs)
        return [grid_text(Grid(("", ""), pairs, (0.3, 0.7)), gap)] if pairs else []
    if isinstance(block, Words):
        return [Padding(Text(f"! {line}" if block.caution else line), (0, 0, 0, 2)) for line in block.lines]
    return []
