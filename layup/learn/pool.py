"""Shops that pool: what one learnt in a small file that says nothing of its parts, and many such files as a prior.

What a shop gives away              `take_up_of(calibration)`, written by `write_take_up`
What many shops say of any other    `pooled(rows)`
Begin with it                       `pool(store, folder)`

A file holds rows of process, form of reinforcement, logarithm of the factor on the published take-up with its standard
deviation, and how many parts it rests on; no title, shape, cloth, name, date or place. Rows of one process and form are
taken as y_j ~ N(mu, tau^2 + s_j^2), one of each shop: mu is what a shop does as a rule, tau how shops differ. Before
any file, tau^2 is 0.8 and the variance of mu 0.2 of what the published spread says of a process and form. The shares
are the project's choice; no source.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from layup.errors import LayupError
from layup.files.reading import TABLE, read_file
from layup.files.writing import write_file
from layup.laminate.process import AS_BOUGHT
from layup.learn.calibrate import SETTING, Calibration
from layup.learn.posterior import FORM_SHARE, ROOT_SHARE, Floats
from layup.learn.store import Entry, Store
from layup.materials import FORMS, load_library

FORM = "layup take-up 1"
OF_MEAN = 0.2
"""Share of the published variance of a process and form that is doubt of its mean; the rest is between shops. [-]"""
SPREAD_OF_SPREAD = 0.4
"""Of the logarithm of tau, as docs/fit_resin.py has it for the published laboratories. [-]"""


@dataclass(frozen=True, slots=True)
class TakeUpRow:
    """What one shop's weigh-ins say of a process and form.

    Attributes:
        process: One of the library's, or it with its resin in the cloth.
        form: Of the reinforcement.
        ln_factor: On the published take-up, by the weigh-ins alone. [-]
        spread: Its standard deviation. [-]
        published_spread: Of ln take-up between shops by the tables. [-]
        parts: How many it rests on.
    """

    process: str
    form: str
    ln_factor: float
    spread: float
    published_spread: float
    parts: int


@dataclass(frozen=True, slots=True)
class Pooled:
    """What many shops say of another.

    Attributes:
        process: As in the rows.
        form: As in the rows.
        mean: Of ln factor, of a shop that nobody knows. [-]
        spread: Of the same: between shops, and what is open of the mean. [-]
        between: Of it, between shops. [-]
        shops: How many spoke.
        parts: How many parts they weighed.
    """

    process: str
    form: str
    mean: float
    spread: float
    between: float
    shops: int
    parts: int


def take_up_of(calibration: Calibration) -> list[TakeUpRow]:
    """What a shop can give away: the likelihood of its weigh-ins by process and form.

    A process of the shop's own is left out, since its name is the shop's.

    Args:
        calibration: Learnt alone, `calibrate(store, alone=True)`: what others told it is theirs to give.
    """
    known = {name for process in load_library().names("process") for name in (process, process + AS_BOUGHT)}
    found = []
    for of, habit in calibration.habits.items():
        if len(of) != 2 or of[0] not in known or of[1] not in FORMS:
            continue
        prior = (ROOT_SHARE + FORM_SHARE) * habit.published_spread**2
        mean, deviation, _ = calibration.learnt.of((of[0],), of, ("step", of[0]))
        precision = 1.0 / deviation**2 - 1.0 / prior
        if habit.parts and precision > 0:
            log = (mean / deviation**2 + 0.5) / precision
            found.append(TakeUpRow(*of, round(log, 6), round(precision**-0.5, 6), habit.published_spread, habit.parts))
    return found


def write_take_up(calibration: Calibration, path: Path) -> Path:
    """Write what a shop can give away.

    Raises:
        LayupError: Nothing was learnt, or the file can't be written.
    """
    rows = take_up_of(calibration)
    if not rows:
        raise LayupError("no weigh-in says how much resin was left: there is nothing to share yet")
    target = path if path.suffix == ".json" else path.with_name(path.name + ".json")
    text = json.dumps({"form": FORM, "rows": [asdict(row) for row in rows]}, indent=1, ensure_ascii=False)
    write_file(target, text + "\n")
    return target


def read_take_up(path: Path) -> list[TakeUpRow]:
    """The rows of one shop's file.

    Raises:
        LayupError: It is none, or a row can't be so.
    """
    try:
        told = json.loads(read_file(path, TABLE).decode("utf-8-sig"))
        if told["form"] != FORM:
            raise ValueError(f"its form is {told['form']}")
        rows = [TakeUpRow(**row) for row in told["rows"]]
        for row in rows:
            numbers = (row.ln_factor, row.spread, row.published_spread)
            if not (all(map(math.isfinite, numbers)) and row.spread > 0 and row.published_spread > 0 and row.parts > 0):
                raise ValueError(f"{row.process}, {row.form}: its numbers can't be so")
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise LayupError(
            f'"{path.name}" is no take-up that a shop shared ({error}). A shop writes one: layup shop share FILE'
        ) from None
    return rows


def pooled(rows: Iterable[TakeUpRow]) -> list[Pooled]:
    """What the rows of many shops say of another, by process and form.

    Args:
        rows: One of each shop for a process and form.
    """
    groups: dict[tuple[str, str], list[TakeUpRow]] = {}
    for row in rows:
        groups.setdefault((row.process, row.form), []).append(row)
    return [
        between_shops(
            *key,
            np.array([r.ln_factor for r in said]),
            np.array([r.spread for r in said]),
            said[0].published_spread,
            sum(r.parts for r in said),
        )
        for key, said in groups.items()
    ]


def between_shops(
    process: str,
    form: str,
    logs: Floats,
    spreads: Floats,
    published: float,
    parts: int,
) -> Pooled:
    """The hierarchical fit of one process and form: mu in closed form, tau by sums over a grid.

    Args:
        process: For the answer.
        form: For the answer.
        logs: Of each shop, ln factor, shape (shops,). [-]
        spreads: Its standard deviation, shape (shops,). [-]
        published: Between shops by the tables. [-]
        parts: How many were weighed.
    """
    y, s = logs, spreads
    total = (ROOT_SHARE + FORM_SHARE) * published**2
    first, doubt = -0.5 * total, OF_MEAN * total
    middle = math.sqrt((1 - OF_MEAN) * total)

    def at(log: float) -> tuple[float, float, float]:
        """Worth of a difference between shops, and mean and variance of mu with it."""
        weight = 1.0 / (middle**2 * math.exp(2 * log) + s * s)
        precision = 1.0 / doubt + float(weight.sum())
        mean = (first / doubt + float(weight @ y)) / precision
        fits = float(weight @ (y - mean) ** 2) + (mean - first) ** 2 / doubt + (log / SPREAD_OF_SPREAD) ** 2
        return 0.5 * (float(np.log(weight).sum()) - math.log(precision) - fits), mean, 1.0 / precision

    step = SPREAD_OF_SPREAD / 4
    coarse = step * np.arange(-24, 13)
    worth = np.array([at(log)[0] for log in coarse])
    likely = coarse[worth > worth.max() - 12.5]
    logs_of_tau = np.linspace(likely[0] - step, likely[-1] + step, 41)
    for _ in range(2):  # many shops know it to a fraction of a step
        found = np.array([at(log) for log in logs_of_tau])
        share = np.exp(found[:, 0] - found[:, 0].max())
        likely = logs_of_tau[share > math.exp(-12.5)]
        width = logs_of_tau[1] - logs_of_tau[0]
        if len(likely) > 10:
            break
        logs_of_tau = np.linspace(likely[0] - width, likely[-1] + width, 41)
    share /= share.sum()
    mean, open_ = found[:, 1], found[:, 2]
    mu = float(share @ mean)
    between = float(share @ (middle * np.exp(logs_of_tau)) ** 2)
    variance = between + float(share @ (open_ + (mean - mu) ** 2))
    return Pooled(
        process=process,
        form=form,
        mean=mu,
        spread=math.sqrt(variance),
        between=math.sqrt(between),
        shops=len(y),
        parts=parts,
    )


def pool(store: Store, folder: Path) -> Entry:
    """Begin with what other shops share: every take-up file of a folder.

    Returns:
        The entry; undo it, and the published figures are the start again.

    Raises:
        LayupError: There is no such file, or one of them is none.
    """
    paths = sorted(folder.glob("*.json")) if folder.is_dir() else [folder] if folder.is_file() else []
    if not paths:
        raise LayupError(f'"{folder}" holds no file that a shop shared. A shop writes one: layup shop share FILE')
    found = pooled(row for path in paths for row in read_take_up(path))
    rows = [{"process": p.process, "form": p.form, "mean": p.mean, "spread": p.spread, "parts": p.parts} for p in found]
    who = f"{len(paths)} shops that share" if len(paths) > 1 else "one shop that shares"
    return store.append(SETTING, {"start": rows, "from": who, "pooled": True})
