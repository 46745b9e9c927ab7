"""Write the tables and the plot of docs/accuracy.md: what the model predicts against what was published.

Run it from anywhere: python docs/make_accuracy.py

Every row is predicted three times by the product itself: with the tables as they are; with the tables fitted again
without any row of its laboratory; and with the tables fitted without any row of its fabric. The last two are blind.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from fit_resin import OUNCE, SOURCE, VOIDS, Fitted, Row, fit, full_fibre, read_plies, read_rows

from layup.laminate.cured import laminate_density
from layup.materials import load_library
from layup.partfile.read import read_part
from layup.report import palette
from layup.spread import Interval
from layup.weight.compare import process_for
from layup.weight.weigh import Weighed, weigh_layup

HERE = Path(__file__).parent
START, END = "<!-- table: written by docs/make_accuracy.py -->", "<!-- end of table -->"
HEAD = "material,property,value,kind,source,at"


@dataclass(frozen=True)
class Answer:
    """A row and what was predicted for it, in the row's unit."""

    row: Row
    said: Interval

    @property
    def off(self) -> float:
        """Predicted over published, less one. [-]"""
        return self.said.mean / self.row.value - 1

    @property
    def inside(self) -> bool:
        """Whether the published value falls inside nine in ten."""
        return self.said.holds(self.row.value)


def predicted(row: Row, fitted: Fitted | None = None) -> Interval:
    """The product's interval for one row, in the row's unit.

    Args:
        row: The published figure.
        fitted: Another fit whose figures are laid over the tables; the tables as they are if left out.
    """
    with tempfile.TemporaryDirectory() as scratch:
        weighed = _weighed(row, fitted, Path(scratch))
    return _in_unit(row, weighed)


def _weighed(row: Row, fitted: Fitted | None, folder: Path) -> Weighed:
    lines = [HEAD]
    entries: list[dict[str, Any]] = []
    for piece, ply in zip(row.plies.split(";"), read_plies(row.plies), strict=True):
        words = piece.strip()
        if ply.count == 0:
            core, _, thickness = words.removeprefix("core ").rpartition(" of ")
            entries.append({"core": core, "thickness": thickness})
            continue
        name = words.partition(" x ")[2]
        entries.append({"fabric": name, "count": ply.count})
        if ply.fibre == name:  # one of the library
            continue
        given = [f"fibre,{full_fibre(ply.fibre)}", f"form,{ply.form}", f"areal_weight,{ply.weight * 1e3:g} g/m^2"]
        given += [f"mat_share,{ply.mat}"] if ply.mat else []
        given += [f"resin_content,{ply.content}", 'prepreg_resin,"epoxy, prepreg"'] if ply.content else []
        for words in given:
            key, _, value = words.partition(",")
            value = value if value.startswith('"') else f'"{value}"'
            lines.append(f'"{name}",{key},{value},nominal,shop,')
    (folder / "cloths.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    tables = ["cloths.csv"] if len(lines) > 1 else []
    if fitted is not None:
        told = [f"{p},{name},{value},{kind},shop,{SOURCE}" for (p, name), (value, kind, _) in fitted.figures().items()]
        (folder / "fit.csv").write_text("\n".join([HEAD, *told]) + "\n", encoding="utf-8")
        tables.append("fit.csv")
    part: dict[str, Any] = {
        "title": row.name,
        "process": row.process,
        "resin": row.resin,
        "materials": tables,
        "surface": {"area": f"{row.area} m^2", "area_tolerance": 0.0 if row.quantity != "mass" else 0.01},
        "ply": entries,
    }
    if row.vacuum:
        part["vacuum"] = row.vacuum
    if row.hand:
        part["hand"] = row.hand
    job = read_part(part, folder)
    return weigh_layup(job, process_for(job, row.process, own=True))


def _in_unit(row: Row, weighed: Weighed) -> Interval:
    quantity = row.quantity
    if quantity == "mass":
        return _scaled(weighed.mass, 1 / OUNCE)
    if quantity == "areal weight":
        return _scaled(weighed.mass, 1 / row.area)
    if quantity == "thickness":
        return _scaled(weighed.thickness, 1e3)
    if quantity == "fibre volume fraction":
        return weighed.fibre_fraction
    layer = weighed.layers[0]
    take_up = layer.take_up
    voids = take_up.void_fraction if take_up else 0.0
    v_f = weighed.fibre_fraction
    fractions = (v_f.mean, v_f.p05, v_f.p95)
    dense = [laminate_density(v, layer.fibre_density, layer.resin_density, voids) / 1e3 for v in fractions]
    return Interval(dense[0], dense[1], dense[2])


def _scaled(interval: Interval, factor: float) -> Interval:
    return Interval(interval.mean * factor, interval.p05 * factor, interval.p95 * factor)


def mean_absolute_error(answers: Iterable[Answer]) -> float:
    """Mean of |predicted - published| / published."""
    listed = list(answers)
    return sum(abs(answer.off) for answer in listed) / len(listed)


def in_sample(rows: Iterable[Row]) -> list[Answer]:
    """What the tables as they are say of every row that can be predicted."""
    return [Answer(row, predicted(row)) for row in rows if row.used == "yes"]


def blind(rows: list[Row], key: Callable[[Row], object]) -> list[Answer]:
    """Every row predicted by a fit that has seen no row of its group.

    Args:
        rows: All of them.
        key: What groups them: laboratory or fabric.
    """
    found: dict[str, Answer] = {}
    used = [row for row in rows if row.used == "yes"]
    every = fit(rows)
    for group in dict.fromkeys(key(row) for row in used):
        fitted = fit([row for row in rows if row.used != "no" and key(row) != group], rounds=3, start=every)
        for row in used:
            if key(row) == group:
                found[row.name] = Answer(row, predicted(row, fitted))
    return [found[row.name] for row in used]


def by_laboratory(row: Row) -> object:
    """Which laboratory or builder made it."""
    return row.laboratory


def by_fabric(row: Row) -> object:
    """Which fabrics are in it, whoever laid them up in which process."""
    return row.laboratory, row.process, *sorted({ply.key for ply in read_plies(row.plies) if ply.count})


@lru_cache(maxsize=4096)
def form_of(row: Row) -> str:
    """The form of its plies, "with mat" where some of it is mat."""
    plies = [ply for ply in read_plies(row.plies) if ply.count]
    forms = {ply.form for ply in plies}
    if any(not ply.count for ply in read_plies(row.plies)):
        return "sandwich"
    if any(ply.mat for ply in plies):
        return "with mat"
    return forms.pop() if len(forms) == 1 else "several forms"


def as_weight(answer: Answer) -> float | None:
    """How far off the areal weight is that a fibre fraction or a thickness implies; None for other figures. [-]

    The same mass balance for both: fibre and resin of the plies at the published figure and at the predicted one.
    """
    row = answer.row
    plies = [ply for ply in read_plies(row.plies) if ply.count]
    fibre = sum(ply.count * ply.weight for ply in plies)
    solid = sum(ply.count * ply.weight / ply.density for ply in plies)
    resin = _resin_density(row.resin)
    if row.quantity == "fibre volume fraction":
        weights = [fibre + resin * solid * ((1 - VOIDS[row.process]) / v - 1) for v in (answer.said.mean, row.value)]
    elif row.quantity == "thickness":
        weights = [fibre + resin * (t / 1e3 * (1 - VOIDS[row.process]) - solid) for t in (answer.said.mean, row.value)]
    else:
        return None
    return weights[0] / weights[1] - 1


@lru_cache(maxsize=64)
def _resin_density(name: str) -> float:
    return load_library().get("resin", name).figure("density").value


def _percent(value: float, sign: bool = False) -> str:
    return f"{value * 100:+.1f} %" if sign else f"{value * 100:.1f} %"


def _summary(name: str, answers: list[Answer]) -> str:
    inside = sum(answer.inside for answer in answers)
    bias = sum(answer.off for answer in answers) / len(answers)
    return f"{_percent(mean_absolute_error(answers))} | {_percent(bias, True)} | {inside} of {len(answers)}"


def floor(rows: Iterable[Row], fitted: Fitted, of_weight: bool = False) -> float:
    """Mean absolute error that is left where every mean of the model is known exactly and it is right. [-]

    Laboratories, hands, fabrics, plates and rolls then still stray by the fitted spreads, and each figure has an error
    of its own; of a normal error, the mean of its size is sqrt(2 / pi) of its standard deviation.

    Args:
        rows: Published figures.
        fitted: With the spreads.
        of_weight: Whether of the areal weight that the figures imply, those without one left out.
    """
    found = []
    for row in rows:
        stray = fitted.strays[row.name]
        if of_weight:
            off = as_weight(Answer(row, Interval(row.value * (1 + stray), 0.0, 0.0)))
            if off is None:
                continue
            stray = abs(off)
        found.append(math.sqrt(2 / math.pi) * stray)
    return sum(found) / len(found)


def summary(kinds: Mapping[str, list[Answer]], fitted: Fitted) -> str:
    """Error, bias and coverage by process, form and quantity, in-sample and blind, and what a perfect mean leaves."""
    head = "| | figures | " + " | ".join(f"{kind}: error | bias | inside" for kind in kinds) + " | a perfect mean |"
    lines = [head, "|---|---|" + "---|" * (3 * len(kinds) + 1)]
    groups: list[tuple[str, Callable[[Row], bool]]] = [("all", lambda row: True)]
    rows = [answer.row for answer in next(iter(kinds.values()))]
    for process in dict.fromkeys(row.process for row in rows):
        groups.append((process, lambda row, p=process: row.process == p))  # type: ignore[misc]  # a default binds the name
    for form in dict.fromkeys(form_of(row) for row in rows):
        groups.append((form, lambda row, f=form: form_of(row) == f))  # type: ignore[misc]  # a default binds the name
    for quantity in dict.fromkeys(row.quantity for row in rows):
        groups.append((quantity, lambda row, q=quantity: row.quantity == q))  # type: ignore[misc]  # a default binds the name
    for name, belongs in groups:
        picked = [[a for a in answers if belongs(a.row)] for answers in kinds.values()]
        cells = " | ".join(_summary(name, chosen) for chosen in picked)
        least = _percent(floor((answer.row for answer in picked[0]), fitted))
        lines.append(f"| {name} | {len(picked[0])} | {cells} | {least} |")
    implied = [[off for a in answers if (off := as_weight(a)) is not None] for answers in kinds.values()]
    cells = " | ".join(
        f"{_percent(sum(map(abs, offs)) / len(offs))} | {_percent(sum(offs) / len(offs), True)} | " for offs in implied
    )
    least = _percent(floor(rows, fitted, of_weight=True))
    lines.append(f"| areal weight that these imply | {len(implied[0])} | {cells} | {least} |")
    return "\n".join(lines)


def table(answers: list[Answer], rows: list[Row]) -> str:
    """Every figure with its in-sample prediction, and what can't be predicted with the reason."""
    lines = [
        "| laminate | figure | published | kind | predicted | nine in ten | inside | off by | source; what to know |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for answer in answers:
        row, p = answer.row, answer.said
        span = f"{row.value:g}" if row.low == row.high else f"{row.value:g} ({row.low:g} to {row.high:g})"
        unit = "" if row.unit == "-" else f" {row.unit}"
        lines.append(
            f"| {row.what} | {row.quantity} | {span}{unit} | {row.kind} | {p.mean:.3g} | {p.p05:.3g} to {p.p95:.3g} | "
            f"{'yes' if answer.inside else 'NO'} | {answer.off * 100:+.0f} % | {row.source}; {row.why} |"
        )
    lines += [
        "",
        "Measured figures that can't be predicted, and why:",
        "",
        "| laminate | figure | published | why not | source |",
        "|---|---|---|---|---|",
    ]
    for row in rows:
        if row.used == "no":
            unit = "" if row.unit == "-" else f" {row.unit}"
            lines.append(f"| {row.what} | {row.quantity} | {row.value:g}{unit} | {row.why} | {row.source} |")
    return "\n".join(lines)


def blind_table(kinds: Mapping[str, list[Answer]]) -> str:
    """Every figure as each blind fit predicts it."""
    lines = ["| row | published | " + " | ".join(f"{kind} | inside" for kind in kinds) + " |"]
    lines.append("|---|---|" + "---|---|" * len(kinds))
    for answers in zip(*kinds.values(), strict=True):
        row = answers[0].row
        unit = "" if row.unit == "-" else f" {row.unit}"
        cells = " | ".join(
            f"{a.said.mean:.3g} ({a.said.p05:.3g} to {a.said.p95:.3g}), {a.off * 100:+.0f} % | "
            f"{'yes' if a.inside else 'NO'}"
            for a in answers
        )
        lines.append(f"| {row.name} | {row.value:g}{unit} | {cells} |")
    return "\n".join(lines)


def draw(kinds: Mapping[str, list[Answer]], path: Path) -> None:
    """Predicted over published, one line a row, in-sample beside blind; 1 is agreement."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context({"font.family": "DejaVu Sans", "font.size": 9, "text.color": palette.INK}):
        count = len(next(iter(kinds.values())))
        tall = 0.19 * count + 1.9
        figure = Figure(figsize=(13, tall))
        wide = 0.70 / len(kinds)
        for number, (kind, answers) in enumerate(kinds.items()):
            axes = figure.add_axes((0.25 + number * (wide + 0.015), 0.55 / tall, wide, 1 - 1.75 / tall))
            for place, answer in enumerate(reversed(answers)):
                p, row = answer.said, answer.row
                axes.plot([p.p05 / row.value, p.p95 / row.value], [place] * 2, lw=5, solid_capstyle="butt", zorder=1,
                          color=palette.OTHER if answer.inside else palette.OLD)  # fmt: skip
                axes.plot(p.mean / row.value, place, "o", ms=4, color=palette.PART, zorder=3)
            axes.axvline(1.0, color=palette.OLD, lw=1.4, zorder=2)
            names = [answer.row.name for answer in reversed(answers)] if number == 0 else [""] * count
            axes.set_yticks(range(count), names)
            axes.set_ylim(-1, count)
            axes.set_xlim(0.6, 1.55)
            inside = sum(answer.inside for answer in answers)
            axes.set_title(f"{kind}\n{mean_absolute_error(answers) * 100:.1f} % off, {inside} of {count} inside")
            for side in ("top", "right", "left"):
                axes.spines[side].set_visible(False)
            axes.tick_params(axis="y", length=0)
            axes.grid(axis="x", color=palette.PALE)
        figure.text(0.02, 1 - 0.35 / tall, "Predicted over published, before any weigh-in", fontsize=14, weight="bold")
        figure.text(0.25, 0.12 / tall, "point, and the interval that holds nine in ten; dark where it does not")
        figure.savefig(path, dpi=110)


def main() -> None:
    """Predict everything three times and write the page and the plot."""
    rows = read_rows()
    seen = in_sample(rows)
    blinds = {"laboratory unseen": blind(rows, by_laboratory), "fabric unseen": blind(rows, by_fabric)}
    kinds = {"in sample": seen, **blinds}
    page = HERE / "accuracy.md"
    text = page.read_text(encoding="utf-8")
    head, _, rest = text.partition(START)
    _, _, tail = rest.partition(END)
    told = summary(kinds, fit(rows))
    parts = ["", told, "", "### Every figure, in sample", "", table(seen, rows), "",
             "### Every figure, blind", "", blind_table(blinds), ""]  # fmt: skip
    page.write_text(f"{head}{START}\n" + "\n".join(parts) + f"\n{END}{tail}", encoding="utf-8")
    draw(kinds, HERE / "accuracy.png")
    print(told)
    print(f"{page.name} and accuracy.png are written.")


if __name__ == "__main__":
    main()
