"""The screen of `layup surface`: sizes first, then what was found, one line each."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.text import Text

from layup.report.document import Grid
from layup.report.document_text import grid_text
from layup.report.surface_words import in_units, system_of
from layup.shape.surface import Surface
from layup.words import System, area_words, length_words


def surface_screen(surface: Surface, given: System | None) -> RenderableType:
    """Sizes and findings of a surface.

    Args:
        surface: As read with `thorough=True`, or as a drawing gives it.
        given: "lb", "metric" or "both"; None for sizes in both, and findings in the units of the file.
    """
    whole = surface.whole
    system, own = given or "both", given or system_of(surface)
    rows = [
        ("area", area_words(whole.area, system)),
        ("side", surface.side + (f" (unit: {surface.unit})" if surface.unit else "")),
    ]
    if whole.box is not None:
        spans = [length_words(high - low, system) for low, high in zip(*whole.box, strict=True)]
        rows.append(("box", " x ".join(spans)))
    edge = surface.perimeter
    if edge is not None:
        rows.append(("free edge", length_words(edge, system) if edge > 0 else "none: it is closed"))
    if whole.centroid is not None:
        at = ", ".join(length_words(v, "lb" if system == "lb" else "metric") for v in whole.centroid)
        rows.append(("centre", f"({at})"))
    if whole.triangles:
        rows.append(("triangles", f"{whole.triangles:,}"))
    parts: list[RenderableType] = [Text(surface.name, style="bold"), grid_text(Grid(("", ""), tuple(rows)))]
    if surface.groups:
        names = list(surface.groups)
        shown = ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")
        parts.append(Padding(Text(f"groups: {shown}"), (0, 0, 0, 2)))
    parts.append(Text())
    if not surface.findings:
        parts.append(Text("  Nothing odd was found."))
    for finding in surface.findings:
        effect = finding.area_effect
        words = "" if not effect else f" (area {'+' if effect > 0 else '−'}{area_words(abs(effect), own)})"
        parts.append(Padding(Text(f"- {in_units(finding.text, own)}{words}"), (0, 0, 0, 2)))
    return Group(*parts)
