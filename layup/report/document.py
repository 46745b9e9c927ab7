"""What is shown, free of how: sections of facts, tables, pictures and sentences.

The build sheet, the refit's papers and the screens fill it; `document_pdf`, `document_html`, `document_text` and
`document_sheet` show the same content, and `document_file` writes it as the name's ending says.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from layup.words import System

TICK = "\u2610"
"""A cell to tick off."""
WRITE = "\u2003"
"""A cell to write in."""


@dataclass(frozen=True, slots=True)
class Facts:
    """Labels with their values, in columns.

    Attributes:
        pairs: Label and value.
        columns: How many side by side.
    """

    pairs: tuple[tuple[str, str], ...]
    columns: int = 3

    def to_read(self) -> Facts:
        """Without what the pencil fills in."""
        return replace(self, pairs=tuple(pair for pair in self.pairs if pair[1] not in (TICK, WRITE)))


@dataclass(frozen=True, slots=True)
class Numbers:
    """What a spreadsheet gets of a column that holds figures.

    Attributes:
        heading: With the unit.
        values: Row by row, in that unit; None where the cell holds no figure.
        alone: Whether they stand in place of the words, else beside them.
    """

    heading: str
    values: tuple[float | None, ...]
    alone: bool = False


@dataclass(frozen=True, slots=True)
class Grid:
    """A table.

    Attributes:
        head: Names of the columns.
        rows: Cells; `TICK` and `WRITE` are for the pencil.
        shares: Width of each column over that of the table; empty for as wide as the words ask.
        right: Columns set to the right: figures.
        tall: Whether rows are high enough to write in.
        strong: Columns in bold.
        quiet: Columns that only explain the others.
        totals: Rows that are sums.
        bad: Rows that break a limit.
        numbers: By column, the figures for a spreadsheet.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...] = ()
    right: frozenset[int] = frozenset()
    tall: bool = False
    strong: frozenset[int] = frozenset()
    quiet: frozenset[int] = frozenset()
    totals: frozenset[int] = frozenset()
    bad: frozenset[int] = frozenset()
    numbers: Mapping[int, Numbers] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for row in (self.head, self.shares or self.head, *self.rows):
            if len(row) != len(self.head):
                raise ValueError(f"a row of {len(row)} cells in a table of {len(self.head)} columns")

    def to_read(self) -> Grid:
        """Without the columns that only the pencil fills in."""
        kept = [i for i in range(len(self.head)) if not self.rows or any(r[i] not in (TICK, WRITE) for r in self.rows)]

        def of(row: tuple[str, ...]) -> tuple[str, ...]:
            return tuple("" if row[i] in (TICK, WRITE) else row[i] for i in kept)

        return replace(
            self,
            head=of(self.head),
            rows=tuple(of(row) for row in self.rows),
            shares=tuple(self.shares[i] for i in kept) if self.shares else (),
            numbers={n: self.numbers[i] for n, i in enumerate(kept) if i in self.numbers},
            right=frozenset(n for n, i in enumerate(kept) if i in self.right),
            strong=frozenset(n for n, i in enumerate(kept) if i in self.strong),
            quiet=frozenset(n for n, i in enumerate(kept) if i in self.quiet),
        )


@dataclass(frozen=True, slots=True)
class Words:
    """Sentences; cautions are set apart by a bar beside them."""

    lines: tuple[str, ...]
    caution: bool = False


@dataclass(frozen=True, slots=True)
class Plate:
    """A picture.

    Attributes:
        png: For print.
        svg: For the screen; "" where the PNG serves both.
        width: Of the picture as drawn. [in]
        height: [in]
        says: What it shows, for one who cannot see it.
    """

    png: bytes
    svg: str
    width: float
    height: float
    says: str


Block = Facts | Grid | Words | Plate


def to_read(block: Block) -> Block:
    """A block without what is there for the pencil."""
    return block.to_read() if isinstance(block, Facts | Grid) else block


def in_system(block: Block, system: System) -> Block:
    """A block with the quantities inside its sentences in the system asked for."""
    if not isinstance(block, Words):
        return block
    from layup.report.surface_words import in_units

    return replace(block, lines=tuple(in_units(line, system) for line in block.lines))


@dataclass(frozen=True, slots=True)
class Section:
    """A numbered section.

    Attributes:
        title: Its heading.
        blocks: In order.
        together: Whether all of it stands on one page: figures with the signature under them.
    """

    title: str
    blocks: tuple[Block, ...]
    together: bool = False


@dataclass(frozen=True, slots=True)
class Document:
    """A whole paper.

    Attributes:
        kind: "Build sheet": what it is.
        title: What it is about.
        plate: What stands in the title block of every page: label and value.
        sections: In order.
        alarms: What must not be missed: first, last and on every page.
        banner: The few words of them that stand on every page.
    """

    kind: str
    title: str
    plate: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    alarms: tuple[str, ...] = ()
    banner: str = ""
