"""The blocks of a document on the terminal; what is there for the pencil, boxes to tick and to write in, stays away."""

from __future__ import annotations

from collections.abc import Iterable

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from layup.report.document import Block, Facts, Grid, Plate, Section, Words

GAP = 2
"""Cells between two columns."""
LOUD = "bold white on red"
"""What must not be missed."""


def as_text(blocks: Iterable[Block], gap: int = GAP) -> list[RenderableType]:
    """Blocks as rich renderables, an empty line before each; pictures are left out.

    Args:
        blocks: What to show, in order.
        gap: Cells between two columns of a table.
    """
    shown: list[RenderableType] = []
    for block in blocks:
        if not isinstance(block, Plate):
            shown += [Text(), *_block(block, gap)]
    return shown


def sections_text(sections: Iterable[Section]) -> list[RenderableType]:
    """Sections, each under its title."""
    shown: list[RenderableType] = []
    for section in sections:
        blocks = [line for block in section.blocks for line in _block(block, GAP)]
        shown += [Text(), Text(section.title, style="bold"), *blocks]
    return shown


def grid_text(grid: Grid, gap: int = GAP) -> Table:
    """A table without lines: its heads dim, its first column set in by two cells, rows that break a limit loud."""
    grid = grid.to_read()
    table = Table(box=None, pad_edge=False, padding=(0, gap, 0, 0), header_style="dim", show_header=any(grid.head))
    for number, name in enumerate(grid.head):
        right = number in grid.right
        table.add_column(name if number or right else f"  {name}", justify="right" if right else "left", no_wrap=right)
    for at, row in enumerate(grid.rows):
        loud = LOUD if at in grid.bad else "bold" if at in grid.totals else ""
        cells = [
            Text(cell, style=loud or ("bold" if number in grid.strong else "dim" if number in grid.quiet else ""))
            for number, cell in enumerate(row)
        ]
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
