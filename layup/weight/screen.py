"""What the terminal shows: a prediction read in ten seconds, the longer comparison, the sources, the materials.

Everything is built as rich renderables; piped, they come out as plain text.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from layup.report.document import Grid
from layup.report.document_text import grid_text
from layup.report.surface_words import in_units
from layup.sources import cited
from layup.spread import Interval
from layup.weight.compare import Alternative, ProcessShare
from layup.weight.cost import Cost
from layup.weight.plies import Layer
from layup.weight.prediction import DOUBT, Prediction
from layup.words import (
    System,
    area_words,
    areal_weight_words,
    length_words,
    mass_both,
    panel_weight_words,
    percent_words,
    pressure_words,
    thickness_words,
)

PIPED = 110
"""Columns of a screen that is not shown on a terminal."""
LEAST_BAR, MOST_BAR = 10, 34
"""Cells of the bar that shows an interval."""


def prediction_screen(prediction: Prediction, system: System, columns: int = PIPED) -> RenderableType:
    """The screen of `layup predict`.

    Args:
        prediction: What to show.
        system: "lb", "metric" or "both".
        columns: Width of the terminal.
    """
    parts: list[RenderableType] = [_head(prediction, system), Text()]
    parts += [_processes(prediction, system, columns), Text()]
    parts += [_made_of(prediction, system), Text()]
    parts += [_plies(prediction, system)]
    if len(prediction.zones) > 1:
        parts += [Text(), _zones(prediction, system)]
    parts += [Text(), *_small_print(prediction, system)]
    return Group(*parts)


def caution_text(words: str, style: str = "") -> RenderableType:
    """A caution behind its mark, all its lines under the first."""
    table = Table.grid(padding=0)
    table.add_row(Text("  ! "), Text(words, style=style))
    return table


def _mass(kg: float, system: System) -> str:
    return mass_both(kg, system)


def _span(interval: Interval, system: System) -> str:
    """Both ends of an interval, in one system: a line with four masses is not read in ten seconds."""
    one = _one(system)
    return f"{mass_both(interval.p05, one)} to {mass_both(interval.p95, one)}"


def _head(prediction: Prediction, system: System) -> RenderableType:
    weighed, gain = prediction.weighed, prediction.saving
    lines: list[RenderableType] = [Text(prediction.title, style="bold")]
    doubts = [one for one in prediction.cautions if one.startswith(DOUBT)]
    lines += [caution_text(in_units(one, system), style="bold") for one in doubts]
    answer = Text("  will weigh  ")
    answer.append(_mass(weighed.mass.mean, system), style="bold")
    answer.append(f"   9 builds in 10: {_span(weighed.mass, system)}")
    lines.append(answer)
    if gain is not None and prediction.replaced is not None:
        word = "saves" if gain.mass.mean >= 0 else "adds"
        text = Text(f"  {word:<10}  ")
        sign = 1 if gain.mass.mean >= 0 else -1
        text.append(_mass(sign * gain.mass.mean, system), style="bold")
        ends = (gain.mass.p05, gain.mass.p95) if sign > 0 else (-gain.mass.p95, -gain.mass.p05)
        text.append(f"   9 builds in 10: {_span(Interval(0.0, *ends), system)}")
        lines.append(text)
        share = percent_words(abs(gain.fraction))
        lines.append(Text(f"              {share} of the old part's {_mass(prediction.replaced.mass.mean, system)}"))
        if gain.moment is not None:
            lines.append(Text(f"              moment about the datum: {_moment(gain.moment, system)} less"))
        if gain.cost_per_mass is not None:
            lines.append(Text(f"              {_per_mass(gain.cost_per_mass, system)} saved, in material"))
    return Group(*lines)


def _moment(kg_m: float, system: System) -> str:
    pound_inches = f"{kg_m / 0.45359237 / 0.0254:,.1f} lb in"
    metric = f"{kg_m:.3f} kg m"
    return {"lb": pound_inches, "metric": metric}.get(system, f"{pound_inches} ({metric})")


def _per_mass(cost: tuple[float, str], system: System) -> str:
    amount, currency = cost
    if system == "metric":
        return f"{amount:.2f} {currency} for each kg"
    return f"{amount * 0.45359237:.2f} {currency} for each lb"


def _processes(prediction: Prediction, system: System, columns: int) -> RenderableType:
    """One line a process and one for the old part: name, bar, weight, interval; the bar takes the room that is left."""
    old = prediction.replaced
    top = max(old.mass.mean if old else 0.0, *(a.weighed.mass.p95 for a in prediction.alternatives))
    rows = [(a.process, a.weighed.mass, a.chosen) for a in prediction.alternatives]
    if old is not None:
        rows.append(("old part", old.mass, False))
    names = max(len(name) for name, _, _ in rows)
    spans = [_span(mass, system) if mass.p95 > mass.p05 * 1.02 else "" for _, mass, _ in rows]
    for used in (system, _one(system)):
        weights = [_mass(mass.mean, used) for _, mass, _ in rows]
        room = columns - names - max(map(len, weights)) - max(map(len, spans)) - 11
        if room >= LEAST_BAR:
            break
    bar = min(MOST_BAR, max(LEAST_BAR, room))
    wide = max(map(len, weights))
    lines = [Text(f"    {'':<{names}}  {'':<{bar}}  {'weight':>{wide}}   9 builds in 10", style="dim")]
    for (name, mass, chosen), weight, span in zip(rows, weights, spans, strict=True):
        line = Text("  > " if chosen else "    ")
        style = "bold" if chosen else ""
        line.append(f"{name:<{names}}  ", style=style)
        line.append(_bar(mass, top, bar, point=name == "old part"))
        line.append(f"  {weight:>{wide}}", style=style)
        line.append(f"   {span}", style="dim")
        lines.append(line)
    return Group(*lines)


def _bar(mass: Interval, top: float, cells: int, *, point: bool) -> str:
    """A row of cells from nought to `top`: the interval as a line with the mean as a block, or a point alone."""

    def cell(value: float) -> int:
        return min(cells - 1, max(0, round(value / top * (cells - 1))))

    row = [" "] * cells
    if not point:
        for at in range(cell(mass.p05), cell(mass.p95) + 1):
            row[at] = "─"
    row[cell(mass.mean)] = "◆" if point else "█"
    return "".join(row)


def _made_of(prediction: Prediction, system: System) -> RenderableType:
    w = prediction.weighed
    masses = [
        ("fibre", w.fibre, f"{w.fibre_fraction.mean * 100:.0f} % fibre volume fraction"),
        ("resin in the part", w.resin, _resin_note(prediction, system)),
        ("core, dry", w.core, ""),
        ("finish", w.finish, "; ".join(t.name for t in w.finishes)),
        ("extras", w.extra, "; ".join(t.name for t in w.extras)),
    ]
    lapped = [layer for layer in w.layers if layer.lapped > 0]
    if lapped:
        names = f"{'ply' if len(lapped) == 1 else 'plies'} {', '.join(str(layer.number) for layer in lapped)}"
        mass = sum(layer.areal_weight * layer.lapped for layer in lapped)
        masses.append(("laps", mass, f"of fibre and resin, where strips or slits of {names} overlap"))
    if w.process.mixes:
        masses.append(("resin to mix", w.resin_to_mix, "with what stays in cup, brush and bag"))
    if w.trimmed_off > 0:
        kept = "with its gel coat, without other" if w.gel_coat else "without"
        masses.append(("before trimming", w.moulded, f"as it comes off the mould, {kept} finish and extras"))
    areal = f"areal weight, finished: {panel_weight_words(prediction.areal_weight, system)}"
    rows = [
        *((name, _mass(mass, system), note) for name, mass, note in masses if mass > 0),
        ("surface", area_words(prediction.job.surface.whole.area, system), _surface_note(prediction, system)),
        ("thickness", thickness_words(w.thickness.mean, system), areal),
    ]
    if w.cg is not None:
        at = ", ".join(f"{axis} {length_words(v, _one(system))}" for axis, v in zip("xyz", w.cg, strict=True))
        rows.append(("centre of gravity", "", f"{at}, in the axes of the file"))
    return grid_text(Grid(("", "", ""), tuple(rows), right=frozenset({1}), quiet=frozenset({2})))


def _resin_note(prediction: Prediction, system: System) -> str:
    w = prediction.weighed
    parts = [f"{percent_words(w.resin / (w.fibre + w.resin))} of fibre and resin"]
    if w.film > 0:
        parts.append(f"{mass_both(w.film, _one(system))} on the faces")
    if w.bond > 0:
        parts.append(f"{mass_both(w.bond, _one(system))} at the core")
    return "; ".join(parts)


def _one(system: System) -> System:
    return "metric" if system == "metric" else "lb"


def _surface_note(prediction: Prediction, system: System) -> str:
    surface = prediction.job.surface
    words = surface.name if surface.has_mesh else "as the part file says"
    if surface.side != "as drawn":
        words += f", {surface.side} side"
    if prediction.weighed.process.pressure is not None:
        words += f"; bag at {pressure_words(prediction.weighed.process.pressure, _one(system))}"
    return words


def _plies(prediction: Prediction, system: System) -> RenderableType:
    rows = []
    for _, run in groupby(prediction.weighed.layers, key=lambda y: (y.name, y.angle, y.zone, round(y.drawn_area, 9))):
        layers = list(run)
        area = sum(y.area for y in layers) / len(layers)
        first, last = layers[0], layers[-1]
        numbers = f"{first.number}" if first is last else f"{first.number} to {last.number}"
        rows.append(
            (
                numbers,
                first.name,
                _angle(first),
                where_words(first),
                area_words(area, _one(system)),
                thickness_words(sum(y.thickness for y in layers), _one(system)),
                mass_both(sum(y.mass for y in layers), _one(system)),
            )
        )
    head = ("ply", "material", "angle", "zone", "area", "thick", "weight")
    return grid_text(Grid(head, tuple(rows), right=frozenset({2, 4, 5, 6})))


def made_of(prediction: Prediction) -> list[tuple[str, float, list[tuple[str, str]]]]:
    """What the weight is made of: name, mass [kg], and the figures it rests on, each with its source."""
    w = prediction.weighed

    def of(*properties: str, materials: frozenset[str] = frozenset()) -> list[tuple[str, str]]:
        return [
            (f"{c.material}: {c.printed}", cited(c))
            for c in prediction.citations
            if c.property.split(" (")[0] in properties and (not materials or c.material in materials)
        ]

    plies = prediction.job.part.plies()
    cloths = frozenset(e.fabric for e in plies if e.fabric is not None)
    cores = frozenset(e.core for e in plies if e.core is not None)
    typed = [("as typed", "the part file")]
    by = {
        "fibre": of("areal_weight", materials=cloths),
        "resin in the plies": of("fibre_volume_fraction", "resin_content"),
        "resin on the faces": of("surface_resin"),
        "resin at the core": of("core_bond", "bond_resin"),
        "core": of("density", materials=cores),
    }
    rows = [(name, mass, by[name]) for name, mass in w.shares if name in by]
    for kind, things in (("finish", w.finishes), ("fitting", w.extras)):
        for thing in things:
            known = frozenset(figure.material for figure in thing.figures)
            told = of(*(figure.property for figure in thing.figures), materials=known) if known else typed
            rows.append((f"{kind}: {thing.name}", thing.mass, told or typed))
    return [row for row in rows if row[1] > 0]


def where_words(layer: Layer) -> str:
    """Where a layer lies: its zone, and whether it runs over openings."""
    return layer.zone + (", openings covered" if layer.covers else "")


def _zones(prediction: Prediction, system: System) -> RenderableType:
    one = _one(system)
    rows = tuple(
        (
            zone.name,
            area_words(zone.area, one),
            str(zone.plies),
            thickness_words(zone.thickness, one),
            areal_weight_words(zone.areal_weight, one),
        )
        for zone in prediction.zones
    )
    return grid_text(Grid(("zone", "area", "plies", "thickness", "areal weight"), rows, right=frozenset(range(1, 5))))


def _angle(layer: Layer) -> str:
    return "" if layer.kind == "core" else f"{layer.angle:g}°"


def _small_print(prediction: Prediction, system: System) -> Iterable[RenderableType]:
    for share in prediction.made:
        yield Padding(made_text(share, system), (0, 0, 0, 2))
        yield Text()
    money = _money_text(prediction.cost)
    if money:
        yield Text(f"  {money}")
    for finding in prediction.job.surface.findings:
        yield Padding(Text(in_units(f"Surface: {finding.text}", system)), (0, 0, 0, 2))
    for caution in prediction.cautions:
        if not caution.startswith(DOUBT):  # which stands above the figures
            yield Padding(Text(f"! {in_units(caution, system)}", style="dim"), (0, 0, 0, 2))


def _money_text(cost: Cost) -> str:
    wide = f"{', '.join(cost.no_width)}: priced by the length of the roll, and no row gives its width"
    if not cost.amounts:
        return f"Material: no money yet. {wide}." if cost.no_width else ""
    text = "Material: " + " and ".join(f"{amount:.2f} {currency}" for currency, amount in cost.amounts.items())
    if cost.unpriced:
        text += ", without " + ", ".join(cost.unpriced) + " (no price in the tables)"
        if cost.no_width:
            text += f"; {wide}"
    return text + "; offcuts are not counted."


def made_text(share: ProcessShare, system: System) -> Text:
    """What two weighed versions tell, in two sentences."""
    one = _one(system)
    text = Text(
        f"{share.heavier} against {share.lighter}: {_mass(share.difference, system)} less, "
        f"{percent_words(share.fraction)}. "
    )
    if share.enough:
        text.append(f"The process alone can explain that: on this cloth it makes {_off(share.explained, system)}.")
        return text
    text.append(
        f"The process explains about {mass_both(share.explained.mean, one)} of it, {percent_words(share.share)} "
        f"({_off(share.explained, system)}). "
    )
    text.append(
        f"About {mass_both(share.rest, one)} must be something else: filler and paint, plies, core or area.",
        style="bold",
    )
    return text


def _off(explained: Interval, system: System) -> str:
    """`1 oz to 6 oz less`, or `from 2 oz more to 6 oz less` where the interval reaches over nought."""
    one = _one(system)
    if explained.p05 >= 0:
        return f"{_span(explained, system)} less"
    return f"from {mass_both(-explained.p05, one)} more to {mass_both(explained.p95, one)} less"


def compare_screen(prediction: Prediction, system: System) -> RenderableType:
    """The screen of `layup compare`: processes in detail, then old against new, item by item."""
    parts: list[RenderableType] = [Text(prediction.title, style="bold"), Text()]
    parts.append(_process_detail(prediction.alternatives, system))
    if prediction.replaced is not None and prediction.saving is not None:
        parts += [Text(), _old_against_new(prediction, system)]
    parts += [Text(), *_small_print(prediction, system)]
    return Group(*parts)


def _process_detail(alternatives: tuple[Alternative, ...], system: System) -> RenderableType:
    rows: list[tuple[str, ...]] = []
    main: set[int] = set()

    def line(name: str, cells: Iterable[str], style: str = "") -> None:
        main.update({len(rows)} if style else ())
        rows.append((name, *cells))

    one = _one(system)
    line("weight", (mass_both(a.weighed.mass.mean, one) for a in alternatives), "bold")
    if system == "both":
        line("", (mass_both(a.weighed.mass.mean, "metric") for a in alternatives))
    line("9 builds in 10, from", (mass_both(a.weighed.mass.p05, one) for a in alternatives))
    line("to", (mass_both(a.weighed.mass.p95, one) for a in alternatives))
    line("thickness", (thickness_words(a.weighed.thickness.mean, one) for a in alternatives))
    line("fibre of the plies", (f"{a.weighed.fibre_fraction.mean * 100:.0f} % by volume" for a in alternatives))
    line("fibre", (mass_both(a.weighed.fibre, one) for a in alternatives))
    line("resin in the part", (mass_both(a.weighed.resin, one) for a in alternatives))
    line(
        "resin to mix",
        (mass_both(a.weighed.resin_to_mix, one) if a.weighed.process.mixes else "none" for a in alternatives),
    )
    if any(a.saving for a in alternatives):
        line("saves", (mass_both(a.saving.mean, one) if a.saving else "" for a in alternatives), "bold")
    if any(a.cost.amounts for a in alternatives):
        line("material", (_short_money(a.cost) for a in alternatives))
    line("resin", (a.resin_name for a in alternatives))
    head = ("", *(a.process + (" <" if a.chosen else "") for a in alternatives))
    right = frozenset(range(1, len(head)))
    return grid_text(Grid(head, tuple(rows), right=right, totals=frozenset(main)), 3)


def _short_money(cost: Cost) -> str:
    text = " + ".join(f"{amount:.2f} {currency}" for currency, amount in cost.amounts.items())
    return f"{text} and more" if cost.unpriced and text else text or "no price"


def _old_against_new(prediction: Prediction, system: System) -> RenderableType:
    assert prediction.replaced is not None
    assert prediction.saving is not None
    gain = prediction.saving.mass.mean
    share = percent_words(abs(prediction.saving.fraction))
    rows = (
        *((thing.name, _mass(thing.mass, system), _how(thing.how)) for thing in prediction.replaced.items),
        ("all of it", _mass(prediction.replaced.mass.mean, system), ""),
        ("new part", _mass(prediction.mass.mean, system), prediction.weighed.process.name),
        ("saved" if gain >= 0 else "added", _mass(abs(gain), system), share),
    )
    head, totals = ("old part", "weight", "known by"), frozenset({len(rows) - 3, len(rows) - 1})
    return grid_text(Grid(head, rows, right=frozenset({1}), totals=totals), 3)


_HOWS = {
    "weighed": "the scale",
    "stated": "the part file",
    "sheet": "thickness and density",
    "core": "thickness and density",
    "laminate": "plies and process",
    "covering": "area",
    "coat": "area and coats",
}


def _how(how: str) -> str:
    return _HOWS.get(how, how)


def columns_here() -> int:
    """Columns of the terminal, or of a piped screen."""
    import shutil
    import sys

    return shutil.get_terminal_size((PIPED, 40)).columns if sys.stdout.isatty() else PIPED


def show(screen: RenderableType) -> None:
    """Print a screen as the terminal can; piped, as plain text without trailing spaces.

    A line that may not be broken, a command to type, runs on where it is too long: cut off it would be another one.
    """
    import sys

    if sys.stdout.isatty():
        Console(highlight=False).print(screen, crop=False)
        return
    plain = Console(width=PIPED, no_color=True, highlight=False, force_terminal=False)
    with plain.capture() as captured:
        plain.print(screen, crop=False)
    text = "\n".join(line.rstrip() for line in captured.get().splitlines()) + "\n"
    encoding = sys.stdout.encoding or "utf-8"
    sys.stdout.write(text.encode(encoding, "replace").decode(encoding))
