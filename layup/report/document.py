"""What a build sheet holds, free of how it is printed: sections of facts, tables, pictures and sentences.

`layup.make.build_sheet` fills it; `layup.report.document_pdf` and `layup.report.document_html` print the same content.
"""

from __future__ import annotations

from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True)
class Grid:
    """A table.

    Attributes:
        head: Names of the columns.
        rows: Cells; `TICK` and `WRITE` are for the pencil.
        shares: Width of each column over that of the table.
        right: Columns set to the right: figures.
        tall: Whether rows are high enough to write in.
        strong: Columns in bold.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...]
    right: frozenset[int] = frozenset()
    tall: bool = False
    strong: frozenset[int] = frozenset()

    def __post_init__(self) -> None:
        for row in (self.head, self.shares, *self.rows):
            if len(row) != len(self.head):
                raise ValueError(f"a row of {len(row)} cells in a table of {len(self.head)} columns")


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


@dataclass(frozen=True, slots=True)
class Section:
    """A numbered section.

    Attributes:
        title: Its heading.
        blocks: In order.
    """

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class BuildSheet:
    """A whole build sheet.

    Attributes:
        title: Of the part.
        plate: What stands in the title block: label and value.
        sections: In order.
    """

    title: str
    plate: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
