"""Where figures come from, on the screen: the sources of a prediction, the materials of the tables."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from layup.errors import nearest
from layup.materials import PLURAL, Library, Material
from layup.sources import Citation


def sources_screen(citations: Iterable[Citation]) -> RenderableType:
    """Every figure used, with its source."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim", title_justify="left")
    table.add_column("figure")
    table.add_column("value", no_wrap=True)
    table.add_column("kind")
    table.add_column("source", ratio=2)
    for c in citations:
        source = c.reference + (f"; {c.at}" if c.at else "")
        table.add_row(f"{c.material}, {_plain(c.property)}", c.printed, c.kind, source)
    return Group(Text("Figures this rests on", style="bold"), Text(), table)


def _plain(name: str) -> str:
    return name.replace("_", " ")


def materials_screen(library: Library, word: str) -> RenderableType:
    """The screen of `layup materials`: a list, or one material with every figure's source."""
    found = library.matching(word)
    exact = [m for m in library if m.name.casefold() == word.strip().casefold()]
    if exact or len(found) == 1:
        return Group(*(one_material(m, library) for m in (exact or found)))
    if not found:
        names = [m.name for m in library]
        return Text(f'Nothing in the tables matches "{word}". {nearest(word, names)}')
    parts: list[RenderableType] = []
    for kind, members in groupby(found, key=lambda m: m.kind):
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), show_header=False)
        table.add_column(no_wrap=True)
        table.add_column(style="dim")
        for m in members:
            table.add_row(f"  {m.name}", _in_short(m))
        parts += [Text(PLURAL[kind], style="bold"), table, Text()]
    parts.append(Text("`layup materials NAME` shows one with every figure's source.", style="dim"))
    return Group(*parts)


def _in_short(material: Material) -> str:
    words = [material.word(name) or "" for name in ("form", "weave", "fibre", "tow", "style")]
    if material.kind != "fabric":
        words = [material.word("form") or ""]
    for name in ("areal_weight", "density", "mix_ratio_by_weight"):
        rows = material.rows_of(name)
        if rows:
            words.append(rows[0].value)
            break
    return ", ".join(w for w in words if w)


def one_material(material: Material, library: Library) -> RenderableType:
    """One material, all its rows; the first of each property is the one used."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("  figure", no_wrap=True)
    table.add_column("value", no_wrap=True)
    table.add_column("kind")
    table.add_column("source")
    seen: set[str] = set()
    order = material.properties()
    called = [word.strip() for row in material.rows_of("also") for word in row.value.split(";")]
    for row in sorted(material.rows, key=lambda r: order.index(r.property)):
        if row.property == "also":
            continue
        source = library.sources.get(row.source)
        reference = (str(source) if source else f"{row.source} ({row.file})") + (f"; {row.at}" if row.at else "")
        first = row.property not in seen
        seen.add(row.property)
        value = row.value if row.kind != "absent" else "not published"
        table.add_row(
            f"  {_plain(row.property)}" if first else "    also printed",
            value,
            row.kind,
            Text(reference, style="" if first else "dim"),
        )
    head: list[RenderableType] = [Text(f"{material.name} ({material.kind})", style="bold")]
    head += [Text("  also called: " + ", ".join(called))] if called else []
    return Group(*head, table, Text())
