"""Write the table and the plot of docs/accuracy.md: what the model predicts against what was published.

Run it from anywhere: python docs/make_accuracy.py
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layup.report import palette
from layup.spread import Interval
from layup.weight.prediction import predict

HERE = Path(__file__).parent
ROWS = HERE.parent / "tests" / "published" / "measured_laminates.csv"
START, END = "<!-- table: written by docs/make_accuracy.py -->", "<!-- end of table -->"
OUNCE = 0.028349523125


@dataclass(frozen=True)
class Row:
    name: str
    what: str
    quantity: str
    value: float
    low: float
    high: float
    unit: str
    process: str
    vacuum: str
    resin: str
    plies: str
    area: float
    used: bool
    why: str
    source: str


def read_rows() -> list[Row]:
    with ROWS.open(encoding="utf-8", newline="") as file:
        return [
            Row(
                name=r["row"],
                what=r["what"],
                quantity=r["quantity"],
                value=float(r["printed"]),
                low=float(r["low"]),
                high=float(r["high"]),
                unit=r["unit"],
                process=r["process"],
                vacuum=r["vacuum"],
                resin=r["resin"],
                plies=r["plies"],
                area=float(r["area"] or 1.0),
                used=r["used"] == "yes",
                why=r["why"],
                source=r["source"],
            )
            for r in csv.DictReader(file)
        ]


def _plies(text: str) -> list[dict[str, Any]]:
    """`2 x carbon plain 200; core PVC foam 60 of 6 mm` as entries of a part file."""
    entries: list[dict[str, Any]] = []
    for piece in text.split(";"):
        words = piece.strip()
        if words.startswith("core "):
            core, _, thickness = words.removeprefix("core ").rpartition(" of ")
            entries.append({"core": core, "thickness": thickness})
        else:
            count, _, fabric = words.partition(" x ")
            entries.append({"fabric": fabric, "count": int(count)})
    return entries


def predicted(row: Row) -> Interval:
    """The model's interval for one row, in the row's unit."""
    part: dict[str, Any] = {
        "title": row.name,
        "process": row.process,
        "resin": row.resin,
        "surface": {"area": f"{row.area} m^2", "area_tolerance": 0.0 if row.quantity != "mass" else 0.01},
        "ply": _plies(row.plies),
    }
    if row.vacuum:
        part["vacuum"] = row.vacuum
    weighed = predict(part).weighed
    if row.quantity == "mass":
        return _scaled(weighed.mass, 1 / OUNCE)
    if row.quantity == "areal weight":
        return _scaled(weighed.mass, 1 / row.area)
    if row.quantity == "thickness":
        return _scaled(weighed.thickness, 1e3)
    if row.quantity == "fibre volume fraction":
        return weighed.fibre_fraction
    layer = weighed.layers[0]
    voids = layer.take_up.void_fraction if layer.take_up else 0.0

    def density(v_f: float) -> float:
        return (v_f * layer.fibre_density + (1 - v_f - voids) * layer.resin_density) / 1e3

    v_f = weighed.fibre_fraction
    return Interval(density(v_f.mean), density(v_f.p05), density(v_f.p95))


def _scaled(interval: Interval, factor: float) -> Interval:
    return Interval(interval.mean * factor, interval.p05 * factor, interval.p95 * factor)


def mean_absolute_error(rows: list[Row]) -> float:
    """Mean of |predicted - published| / published over rows."""
    return sum(abs(predicted(r).mean - r.value) / r.value for r in rows) / len(rows)


def table(rows: list[Row]) -> str:
    used = [row for row in rows if row.used]
    lines = [
        "| laminate | figure | published | predicted | nine in ten | inside | off by | source, and what to know |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for row in used:
        p = predicted(row)
        span = f"{row.value:g}" if row.low == row.high else f"{row.value:g} ({row.low:g} to {row.high:g})"
        unit = "" if row.unit == "-" else f" {row.unit}"
        inside = "yes" if p.holds(row.value) else "NO"
        lines.append(
            f"| {row.what} | {row.quantity} | {span}{unit} | {p.mean:.3g} | {p.p05:.3g} to {p.p95:.3g} | {inside} | "
            f"{(p.mean / row.value - 1) * 100:+.0f} % | {row.source}; {row.why} |"
        )
    inside_count = sum(predicted(r).holds(r.value) for r in used)
    lines += [
        "",
        f"{inside_count} of {len(used)} inside; the mean absolute error of the point prediction is "
        f"{mean_absolute_error(used) * 100:.1f} %.",
        "",
        "Measured figures that can't be predicted, and why:",
        "",
        "| laminate | figure | published | why not | source |",
        "|---|---|---|---|---|",
    ]
    for row in rows:
        if not row.used:
            unit = "" if row.unit == "-" else f" {row.unit}"
            lines.append(f"| {row.what} | {row.quantity} | {row.value:g}{unit} | {row.why} | {row.source} |")
    return "\n".join(lines)


def draw(rows: list[Row], path: Path) -> None:
    """Predicted over published, one line a row; 1 is agreement."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    used = [row for row in rows if row.used]
    with mpl.rc_context({"font.family": "DejaVu Sans", "font.size": 11, "text.color": palette.INK}):
        figure = Figure(figsize=(11, 0.46 * len(used) + 1.9))
        axes = figure.add_axes((0.30, 0.13, 0.67, 0.76))
        for number, row in enumerate(reversed(used)):
            p = predicted(row)
            axes.plot([p.p05 / row.value, p.p95 / row.value], [number] * 2, color=palette.OTHER, lw=9,
                      solid_capstyle="butt", zorder=1)  # fmt: skip
            axes.plot([row.low / row.value, row.high / row.value], [number - 0.3] * 2, color=palette.OLD, lw=2)
            axes.plot(p.mean / row.value, number, "o", ms=8, color=palette.PART, zorder=3)
        axes.axvline(1.0, color=palette.OLD, lw=1.6, zorder=2)
        axes.set_yticks(range(len(used)), [f"{r.name}" for r in reversed(used)])
        axes.set_xlabel("predicted over published: point, and the interval that holds nine in ten")
        for side in ("top", "right", "left"):
            axes.spines[side].set_visible(False)
        axes.tick_params(axis="y", length=0)
        axes.grid(axis="x", color=palette.PALE)
        figure.text(0.02, 0.94, "Predicted against published, before any weigh-in", fontsize=14, fontweight="bold")
        figure.savefig(path, dpi=130)


def main() -> None:
    rows = read_rows()
    page = HERE / "accuracy.md"
    text = page.read_text(encoding="utf-8")
    head, _, rest = text.partition(START)
    _, _, tail = rest.partition(END)
    page.write_text(f"{head}{START}\n{table(rows)}\n{END}{tail}", encoding="utf-8")
    draw(rows, HERE / "accuracy.png")
    print(f"{page.name} and accuracy.png are written.")


if __name__ == "__main__":
    main()
