"""Where a figure comes from.

A `Figure` is one printed number with its source; a `Source` is the full reference behind the short key that a row of
a material table gives. `cite` turns the figures a prediction used into the lines a reader can check.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Source:
    """A published work, a trade practice or a memory, as listed in `materials/sources.toml`.

    Attributes:
        key: Short name that rows use.
        title: Title of the work.
        by: Author or organisation; may be empty.
        year: Year of publication; may be empty.
        standing: "read", "from memory", "common practice", "choice" or "shop".
        address: Where it can be read; may be empty.
        note: What a reader should know before trusting it; may be empty.
        maker: Whether it is the maker of the resin that speaks of its own resin.
    """

    key: str
    title: str
    by: str = ""
    year: str = ""
    standing: str = "read"
    address: str = ""
    note: str = ""
    maker: bool = False

    def __str__(self) -> str:
        parts = [part for part in (self.by, self.title, self.year) if part]
        text = ", ".join(parts)
        return f"{text} ({self.standing})" if self.standing == "from memory" else text


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure as a table prints it.

    Attributes:
        material: Name of the material.
        property: Name of the property, with its form in brackets where it has one.
        value: The number in SI units (an angle in degrees). For a price: money per SI unit.
        printed: The value as printed, with its printed unit.
        kind: measured, typical, nominal, derived or assumed.
        source: Key of the source.
        at: Page, table or remark.
        low: Lower end, where a range is printed; else `value`. Same unit as `value`.
        high: Upper end, where a range is printed; else `value`.
    """

    material: str
    property: str
    value: float
    printed: str
    kind: str
    source: str
    at: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Citation:
    """A figure that a result rests on, with the full reference."""

    material: str
    property: str
    printed: str
    kind: str
    source: str
    reference: str
    at: str


def cited(figure: Citation) -> str:
    """The full reference of a figure, with the page or table."""
    return f"{figure.reference}, {figure.at}" if figure.at else figure.reference


def read_sources(path: Path) -> dict[str, Source]:
    """Read a `sources.toml`."""
    with path.open("rb") as file:
        tables = tomllib.load(file)
    return {
        key: Source(
            key=key,
            title=str(table.get("title", key)),
            by=str(table.get("by", "")),
            year=str(table.get("year", "")),
            standing=str(table.get("standing", "read")),
            address=str(table.get("address", "")),
            note=str(table.get("note", "")),
            maker=bool(table.get("maker", False)),
        )
        for key, table in tables.items()
    }


def cite(figures: Iterable[Figure], sources: dict[str, Source]) -> tuple[Citation, ...]:
    """The figures used, each once, with the full reference of its source.

    A key that no list explains (a shop's own) is its own reference.
    """
    seen: dict[tuple[str, str], Citation] = {}
    for figure in figures:
        source = sources.get(figure.source)
        seen.setdefault(
            (figure.material, figure.property),
            Citation(
                material=figure.material,
                property=figure.property,
                printed=figure.printed,
                kind=figure.kind,
                source=figure.source,
                reference=str(source) if source else f"{figure.source} (the shop's own table)",
                at=figure.at,
            ),
        )
    return tuple(seen.values())
