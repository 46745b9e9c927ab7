"""Where figures come from, on the screen: the sources of a prediction, the materials of the tables."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby

from rich.console import Group, RenderableType
from rich.text import Text

from layup.errors import nearest
from layup.materials import PLURAL, Library, Material
from layup.report.document import Grid
from layup.report.document_text import grid_text
from layup.sources import Citation, cited


def sources_grid(citations: Iterable[Citation]) -> Grid:
    """Every figure used, with its source: for terminal and page."""
    head = ("figure", "value", "kind", "source")
    rows = ((f"{c.material}, {_plain(c.property)}", c.printed, c.kind, cited(c)) for c in citations)
    return Grid(head, tuple(rows))


def sources_screen(citations: Iterable[Citation]) -> RenderableType:
    """Every figure used, with its source."""
    return Group(Text("Figures this rests on", style="bold"), Text(), grid_text(sources_grid(citations)))


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
        table = Grid(("", ""), tuple((m.name, _in_short(m)) for m in members), quiet=frozenset({1}))
        parts += [Text(PLURAL[kind], style="bold"), grid_text(table), Text()]
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
    rows: list[tuple[str, ...]] = []
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
        rows.append((_plain(row.property) if first else "  also printed", value, row.kind, reference))
    head: list[RenderableType] = [Text(f"{material.name} ({material.kind})", style="bold")]
    head += [Text("  also called: " + ", ".join(called))] if called else []
    return Group(*head, grid_text(Grid(("figure", "value", "kind", "source"), tuple(rows))), Text())
