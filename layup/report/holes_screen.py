"""The screen of `layup holes`: what holes take away, and how an existing pattern of fasteners lies on the part."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from layup.partfile.fasteners import OldPattern, trim_line
from layup.partfile.job import Job
from layup.words import System, area_words, length_words

if TYPE_CHECKING:
    from rich.console import RenderableType

GUIDANCE = (
    "Rules of thumb, for guidance. Where a fastener carries load, approved data and a licensed person decide, and on "
    "an aircraft they sign for it."
)


def holes_screen(job: Job, system: System) -> RenderableType:
    """Holes and fasteners of a part.

    Args:
        job: The part file, read.
        system: "lb", "metric" or "both".
    """
    from rich.console import Group
    from rich.padding import Padding
    from rich.table import Table
    from rich.text import Text

    parts: list[RenderableType] = [Text(job.part.title, style="bold")]
    if job.holes:
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
        for head in ("  holes", "how many", "across", "take away", "their edges"):
            table.add_column(head, justify="left" if head == "  holes" else "right", no_wrap=True)
        for one in job.holes.values():
            sizes = sorted({round(h.diameter, 7) for h in one.pattern.holes})
            across = length_words(sizes[0], system)
            if len(sizes) > 1:
                across = f"{length_words(sizes[0], 'metric')} to {length_words(sizes[-1], 'metric')}"
            table.add_row(
                f"  {one.name}", str(len(one.pattern.holes)), across, area_words(one.area, system),
                length_words(one.rim, system),
            )  # fmt: skip
        taken = sum(one.area for one in job.holes.values())
        share = taken / (job.surface.whole.area + taken)
        parts += [
            Text(),
            table,
            Text(f"  {share * 100:.1f} % of the surface, {area_words(job.surface.whole.area, system)} is left"),
        ]
    for old in job.fasteners:
        parts += [Text(), *(Padding(Text(line), (0, 0, 0, 2)) for line in fastener_lines(old, job))]
    if not job.holes and not job.fasteners:
        parts.append(Text("  It has no [[holes]] and no [[fasteners]]."))
    if job.fasteners:
        parts += [Text(), Padding(Text(f"! {GUIDANCE}", style="dim"), (0, 0, 0, 2))]
    return Group(*parts)


def fastener_lines(old: OldPattern, job: Job) -> list[str]:
    """What to know about one existing pattern on the part, a line each."""
    count = len(old.pattern.holes)
    sunk = sum(h.countersink > 0 for h in old.pattern.holes)
    lines = [f'fasteners "{old.name}": {count} holes' + (f", {sunk} of them countersunk" if sunk else "")]
    if old.fit is None:
        lines.append("  placed as measured: nothing is matched")
    else:
        x, y = old.fit.shift
        each = [f"{n} {1e3 * math.hypot(*o):.2f}" for n, o in zip(old.matched, old.fit.off.tolist(), strict=True)]
        more = f" and {len(each) - 12} more" if len(each) > 12 else ""
        worst = max(
            zip(old.matched, ((o[0] ** 2 + o[1] ** 2) ** 0.5 for o in old.fit.off), strict=True), key=lambda p: p[1]
        )
        lines += [
            f"  laid over by {len(old.matched)} matched points: turned {math.degrees(old.fit.turn):.2f}°, "
            f"shifted ({x * 1e3:.1f}, {y * 1e3:.1f}) mm",
            f"  left over: {old.fit.rms * 1e3:.2f} mm (root mean square), {worst[1] * 1e3:.2f} mm at most, "
            f"at {worst[0]}",
            f"  point by point, mm: {', '.join(each[:12])}{more}",
        ]
        lines += [
            f"  ! {name} is {away * 1e3:.2f} mm off, more than {old.within * 1e3:.3g} mm: measure it again, or it is "
            "another hole"
            for name, away in old.strays
        ]
    lines.append(f"  checked, as seen in plan, by {old.rule.words}")
    if not job.surface.has_mesh:
        return [*lines, "  only the area of the part is known: no edge to check against"]
    near = old.too_near(trim_line(job.surface, old.plan))
    if not near:
        lines.append("  none is too near an edge or another one")
    lines += [f"  ! {one}" for one in near]
    return lines
