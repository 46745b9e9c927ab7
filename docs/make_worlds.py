"""Write the table of simulated shops in docs/calibration-model.md: does what is learnt hold where the model is wrong?

Run it from anywhere: python docs/make_worlds.py

Shops are drawn whose truth is not the model's: films of 20 to 60 g/m^2 a face, bond of half to one and a half times the
table's, areas off by 3 %, parts that scatter by 3 to 18 %, lots of cloth that differ by 4 %, a hand that changes half
way, one wild entry. Each makes solid parts and panels with a core in turn, which teach each other; before the next part
and after so many weigh-ins the product predicts it, and the scale says whether it was right.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from statistics import NormalDist
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: more threads only wait for each other

import numpy as np
from numpy.typing import NDArray

from layup.laminate import allowances as allow
from layup.learn.calibrate import Settings, learn_rows
from layup.learn.coupons import CARD
from layup.learn.expected import Ground, expect
from layup.learn.weighins import coupon_of
from layup.partfile.job import Job
from layup.partfile.read import read_part
from layup.weight.compare import process_for
from layup.weight.weigh import Weighed, weigh_layup

Floats = NDArray[np.float64]
HERE = Path(__file__).parent
CARD_START, CARD_END = "<!-- cards: written by docs/make_worlds.py -->", "<!-- end of cards -->"
START, END = "<!-- worlds: written by docs/make_worlds.py -->", "<!-- end of worlds -->"
STAGES = (0, 1, 3, 6, 10)
SOLID = [{"fabric": "carbon plain 200", "count": 4}]
PANEL = [{"fabric": "carbon plain 200"}, {"core": "PVC foam 60", "thickness": "6 mm"}, {"fabric": "carbon plain 200"}]
THIN = [{"fabric": "carbon plain 200", "count": 2}]


@dataclass(frozen=True)
class World:
    """How the shops of a world differ from the model.

    Attributes:
        name: For a person.
        parts: What is made in turn; the last is predicted.
        film: Least and greatest film of a shop. [kg/m^2]; None for the table's spread
        bond: Least and greatest of the table's bond; None for the table's spread.
        area: Standard deviation of a part's area. [-]
        scatter: Least and greatest scatter between parts, of ln take-up; None for the table's.
        lot: Standard deviation of a lot's areal weight; every three parts take another. [-]
        step: Change of ln take-up half way.
        wild: Chance that one entry of a shop is another weight altogether.
        plain: Whether three weigh-ins must bring the error to 3 %.
    """

    name: str
    parts: tuple[str, ...] = ("solid",)
    film: tuple[float, float] | None = None
    bond: tuple[float, float] | None = None
    area: float = 0.012
    scatter: tuple[float, float] | None = None
    lot: float = 0.024
    step: float = 0.0
    wild: float = 0.0
    plain: bool = False


WORLDS = (
    World("as the model says", plain=True),
    World("panels too", ("panel", "solid"), plain=True),
    World("films of 20 to 60 g/m²", ("thin", "solid"), film=(0.020, 0.060)),
    World("bond of 0.5 to 1.5", ("panel", "panel", "solid"), bond=(0.5, 1.5)),
    World("bond of 0.5 to 1.5, panels alone", ("panel",), bond=(0.5, 1.5)),
    World("areas off by 3 %", ("panel", "solid"), area=0.03),
    World("parts scatter by 3 to 18 %", scatter=(0.03, 0.18)),
    World("parts scatter by 3 %", scatter=(0.03, 0.03)),
    World("parts scatter by 18 %", scatter=(0.18, 0.18)),
    World("lots differ by 4 %", ("solid", "thin"), lot=0.04),
    World("a step of 15 % half way", step=-0.15),
    World("one wild entry", ("solid", "panel"), wild=1.0),
    World("all of it", ("panel", "thin", "solid"), (0.020, 0.060), (0.5, 1.5), 0.03, (0.03, 0.18), 0.04, 0.0, 0.3),
)


@dataclass(frozen=True)
class _Kind:
    job: Job
    weighed: Weighed
    ground: Ground


@lru_cache(maxsize=16)
def _kind(name: str, process: str) -> _Kind:
    plies: list[dict[str, Any]] = {"solid": SOLID, "panel": PANEL, "thin": THIN}[name]
    job = read_part(
        {"title": name, "process": process, "resin": "epoxy, laminating", "surface": {"area": "0.6 m^2"}, "ply": plies}
    )
    weighed = weigh_layup(job, process_for(job, process, own=True))
    ground = expect(job, weighed, "trimmed", 0.001)
    assert ground is not None
    return _Kind(job, weighed, ground)


def evenly(count: int, kinds: int, number: int) -> Floats:
    """Standard normal values, (count, kinds): each kind has one value in each of `count` equal shares of the normal.

    The kinds are shuffled against each other, so that 200 shops stand for all shops without the luck of the draw.
    """
    normal = NormalDist()
    even = np.array([normal.inv_cdf((n + 0.5) / count) for n in range(count)])
    rng = np.random.default_rng(number)
    return np.stack([rng.permutation(even) for _ in range(kinds)], axis=1)


def _between(z: float, ends: tuple[float, float]) -> float:
    return ends[0] + (ends[1] - ends[0]) * NormalDist().cdf(z)


def simulate(
    world: World, shops: int, stages: Iterable[int] = STAGES, process: str = "vacuum bag", number: int = 2026
) -> tuple[list[float], list[float]]:
    """Share inside nine in ten and mean absolute error after so many weigh-ins.

    Args:
        world: How the shops are.
        shops: How many.
        stages: Weigh-ins before the part that is predicted.
        process: They lay up in.
        number: Of the draw.
    """
    listed = list(stages)
    count = listed[-1] + 1
    drawn = evenly(shops, 8 + 6 * count, number)
    inside, error = np.zeros((shops, len(listed))), np.zeros((shops, len(listed)))
    for row in range(shops):
        rows, masses = [], []
        z = iter(drawn[row])
        hand, films, bonds, cores, scatters, at, wild, _ = (next(z) for _ in range(8))
        areas: dict[str, float] = {}
        lot = 0.0
        spoilt = int(NormalDist().cdf(at) * listed[-1]) if NormalDist().cdf(wild) < world.wild else -1
        for part in range(count):
            luck, film_luck, area_luck, lot_luck, size, _ = (next(z) for _ in range(6))
            kind = _kind(world.parts[(part + 1) % len(world.parts)], process)
            g, w = kind.ground, kind.weighed
            if part % 3 == 0:
                lot = world.lot * lot_luck
            scatter = _between(scatters, world.scatter) if world.scatter else g.part_spread
            factor = g.shop_spread * (hand - g.shop_spread / 2) + scatter * (luck - scatter / 2)
            factor += world.step if part >= count // 2 else 0.0
            resin = (w.resin - w.film - w.bond) * math.exp(factor)
            deviation = allow.deviation(allow.FILM)
            if world.film:
                film = 2 * 0.6 * _between(films, world.film) * (1 + deviation * math.sqrt(0.5) * film_luck)
            else:
                film = w.film * (1 + deviation * math.sqrt(0.5) * (films + film_luck))
            share = _between(bonds, world.bond) if world.bond else 1 + allow.deviation(allow.BOND) * bonds
            core = w.core * (1 + allow.deviation(allow.CORE) * cores)
            area = areas.setdefault(kind.job.part.title, world.area * area_luck)
            mass = (1 + lot) * (w.fibre + resin) + max(film, 0.0) + max(share, 0.0) * w.bond + core
            mass = round(mass * (1 + area), 3)
            if part in listed:
                found = _predicted(kind, rows, process)
                column = listed.index(part)
                inside[row, column] = found.holds(mass)
                error[row, column] = abs(found.mean - mass) / mass
            noted = mass if part != spoilt else mass * (1.6 if size > 0 else 0.45)
            masses.append(noted)
            rows.append(
                (part, "", kind.job.part.title, str(part), "trimmed", noted, g.process, g.form, g.fabric, g.rest,
                 g.resin, g.rest_spread, g.shop_spread, g.part_spread, g.cloth_spread, json.dumps(g.terms))
            )  # fmt: skip
    return [float(v) for v in inside.mean(0)], [float(v) for v in error.mean(0)]


def _predicted(kind: _Kind, rows: list[tuple[Any, ...]], process: str) -> Any:
    habits = learn_rows(rows, Settings({}, None, {})).habits if rows else {}
    there = replace(kind.job, habits=habits)
    return weigh_layup(there, process_for(there, process, own=True)).mass


CARDS = (0, 1, 2, 3, 5)


def cards(scatter: float | None, weighed_dry: bool, shops: int = 200, number: int = 2026) -> list[tuple[float, ...]]:
    """How near parts of 0.6 m^2, bagged, come to their prediction after so many cards of two coupons.

    Shops are as the model says. A card is one ply and four of 200 x 200 mm, each weighed dry and cured to 0.1 g.

    Args:
        scatter: Between the shop's parts, of ln take-up; None for the table's.
        weighed_dry: Whether the part's own cloth is weighed before it is laid, which its prediction then counts.
        shops: How many.
        number: Of the draw.

    Returns:
        For each number of cards: share inside the limits, share within 4 %, and what nine in ten are within.
    """
    kind = _kind("solid", "vacuum bag")
    plates = [_coupon(kind, plies) for plies in CARD]
    pieces = CARDS[-1] * len(plates)
    drawn = evenly(shops, 6 + 2 * pieces, number)
    off, inside = np.zeros((shops, len(CARDS))), np.zeros((shops, len(CARDS)))
    luck = scatter or kind.ground.part_spread
    shared, own = math.sqrt(allow.FILM_OF_SHOP), math.sqrt(1 - allow.FILM_OF_SHOP)

    def mass(one: _Kind, hand: float, z: float, films: float, lot: float) -> float:
        w = one.weighed
        resin = (w.resin - w.film) * math.exp(hand + luck * (z - luck / 2))
        return (1 + lot) * (w.fibre + resin) + w.film * max(1 + allow.deviation(allow.FILM) * films, 0.0)

    for row in range(shops):
        z = iter(drawn[row])
        hand, film, lot, area, z_part, film_part = (next(z) for _ in range(6))
        spread = kind.ground.shop_spread
        hand = spread * (hand - spread / 2)
        lot *= allow.deviation(allow.CLOTH)
        rows, dry = [], {}
        for card in range(CARDS[-1]):
            for plies, plate in zip(CARD, plates, strict=True):
                g, name = plate.ground, f"card {card}, {plies}"
                cured = mass(plate, hand, next(z), shared * film + own * next(z), lot)
                dry[plate.job.part.title, name] = round((1 + lot) * plate.weighed.fibre, 4)
                rows.append(
                    (len(rows), "", plate.job.part.title, name, "trimmed", round(cured, 4), g.process, g.form, g.fabric,
                     g.rest, g.resin, g.rest_spread, g.shop_spread, g.part_spread, g.cloth_spread, json.dumps(g.terms))
                )  # fmt: skip
        true = mass(kind, hand, z_part, shared * film + own * film_part, lot)
        true *= 1 + allow.deviation(allow.SURFACE) * area
        for column, count in enumerate(CARDS):
            habits = learn_rows(rows[: count * len(CARD)], Settings({}, None, {}), None, dry).habits if count else {}
            there = replace(kind.job, habits=habits)
            found = weigh_layup(there, process_for(there, "vacuum bag", own=True)).mass
            more = lot * (kind.weighed.fibre + kind.weighed.resin - kind.weighed.film) if weighed_dry else 0.0
            inside[row, column] = found.p05 <= true - more <= found.p95
            off[row, column] = (found.mean + more) / true - 1
    return [
        (
            float(inside[:, n].mean()),
            float((np.abs(off[:, n]) <= 0.04).mean()),
            float(np.quantile(np.abs(off[:, n]), 0.9)),
        )
        for n in range(len(CARDS))
    ]


def _coupon(kind: _Kind, plies: int) -> _Kind:
    job = coupon_of(kind.job, 0.2, 0.2, plies)
    weighed = weigh_layup(job, process_for(job, "vacuum bag", own=True))
    ground = expect(job, weighed, "trimmed", 0.0001)
    assert ground is not None
    return _Kind(job, weighed, ground)


def card_table(shops: int = 200) -> str:
    """What cards of two coupons are worth, a row a kind of shop."""
    lines = [
        "| parts scatter by | the part's cloth | | " + " | ".join(str(n) if n else "no card" for n in CARDS) + " |"
    ]
    lines.append("|---|---|---|" + "---|" * len(CARDS))
    for scatter, name in ((None, "8 %, as published"), (0.03, "3 %")):
        for weighed_dry in (False, True):
            found = cards(scatter, weighed_dry, shops)
            cloth = "weighed dry" if weighed_dry else "by its label"
            for n, what in enumerate(("inside nine in ten", "within 4 %", "nine in ten are within")):
                cells = " | ".join(f"{one[n] * 100:.1f} %" for one in found)
                lines.append(f"| {'' if n else name} | {'' if n else cloth} | {what} | {cells} |")
    return "\n".join(lines)


def table(shops: int = 200, progress: Callable[[str], None] = lambda _: None) -> str:
    """All worlds, a row each."""
    lines = ["| world | parts in turn | | " + " | ".join("none" if n == 0 else str(n) for n in STAGES) + " |"]
    lines.append("|---|---|---|" + "---|" * len(STAGES))
    for world in WORLDS:
        inside, error = simulate(world, shops)
        cells = " | ".join(f"{v * 100:.1f} %" for v in inside)
        lines.append(f"| {world.name} | {', '.join(world.parts)} | inside | {cells} |")
        cells = " | ".join(f"{v * 100:.1f} %" for v in error)
        lines.append(f"| | | error | {cells} |")
        progress("\n".join(lines[-2:]))
    return "\n".join(lines)


def main() -> None:
    """Simulate every world and write the table into the page."""
    page = HERE / "calibration-model.md"
    told = table(progress=lambda text: print(text, flush=True))
    text = page.read_text(encoding="utf-8")
    for start, made, end in ((START, told, END), (CARD_START, card_table(), CARD_END)):
        head, _, rest = text.partition(start)
        _, _, tail = rest.partition(end)
        text = f"{head}{start}\n{made}\n{end}{tail}"
    page.write_text(text, encoding="utf-8")
    print(f"{page.name} is written.")


if __name__ == "__main__":
    main()
