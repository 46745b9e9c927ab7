"""The whole job as functions: what the commands do, for a script or a notebook.

    What will it weigh, and against what it replaces?     `predict(part)`, in `layup.weight.prediction`; `compare(part)`
    The lightest layup that is stiff and strong enough    `choose(part)`, in `layup.choosing.choice`
    Ply shapes, cloth off the roll, resin                 `patterns(part)`, `cut(parts)`, `mix(part)`
    The scale has spoken                                  `weigh(part, "2 lb 13 oz", at="trimmed")`
    What the scale has taught so far                      `shop(folder)`
    What the refit saves, and where it balances           `ledger("refit.toml")`
    Pounds and ounces, and back                           `pounds(1.28)`, `kilograms("2 lb 13 oz")`

A part is a part file's path, a mapping of the same keys, or a `Job` already read. Lengths are metres and masses
kilograms; a quantity that a shop would say may be written as it says it: "18 degC", "150 g". What the shop's own
weigh-ins teach counts where it is asked for: `predict(part, habits=habits(part))` is what `layup predict` shows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from layup.errors import LayupError
from layup.partfile.job import Job
from layup.partfile.read import read_part

if TYPE_CHECKING:
    import pandas as pd

    from layup.cloth.pattern import FlatPly
    from layup.laminate.process import Habits
    from layup.learn.calibrate import Calibration
    from layup.learn.weigh_part import Noted
    from layup.make.batches import Mix
    from layup.make.cut import Cut
    from layup.refit.ledger import Ledger

Part = str | Path | Mapping[str, object] | Job


def compare(part: Part, folder: str | Path | None = None, habits: Habits | None = None) -> pd.DataFrame:
    """The part wet, bagged, infused and prepreg side by side.

    Args:
        part: A part file's path, its content as a mapping, or a `Job`.
        folder: Where the files lie that a mapping names.
        habits: What the shop's weigh-ins say, as `habits(part)` gives it; else published figures alone.

    Returns:
        One row a process: mass with its limits, thickness, resin, saving. [kg, m]

    Raises:
        FaultsError: The part file, a table or the surface has faults; all are named.
        LayupError: A figure that the computation needs is in no table.
    """
    from layup.weight.prediction import predict

    return predict(part, folder, habits).processes_frame()


def habits(part: str | Path) -> Habits:
    """What the weigh-ins say of the shop's resin, in the record beside a part file or above it; empty without one."""
    from layup.learn.calibrate import habits_near

    return habits_near(part)


def patterns(part: Part, folder: str | Path | None = None) -> tuple[FlatPly, ...]:
    """Every ply flat, as it is cut, in the order of laying; arguments as for `compare`.

    Raises:
        PatternError: A ply whose pattern would not be worth cutting by; its `made` holds the others.
    """
    from layup.cloth.pattern import flat_plies

    return flat_plies(_job(part, folder))


def cut(parts: Part | Sequence[Part], folder: str | Path | None = None, *, seconds: float = 0.0) -> Cut:
    """The cloth that one part or several take off each roll.

    Args:
        parts: One, or several that share the rolls; each as for `compare`.
        folder: As for `compare`.
        seconds: To search for a short layout; 0 for a plain one that is the same every time. [s]
    """
    from layup.make import cut as cutting

    several = parts if isinstance(parts, Sequence) and not isinstance(parts, str) else [parts]
    return cutting.cut([_job(part, folder) for part in several], seconds=seconds)


def mix(
    part: Part,
    folder: str | Path | None = None,
    *,
    people: int = 1,
    temperature: str | None = None,
    ratio: str | None = None,
    pot: str | None = None,
    habits: Habits | None = None,
) -> tuple[Mix, ...]:
    """How much resin in each batch, and when; one mix for each resin, none for a prepreg.

    Args:
        part: As for `compare`.
        folder: As for `compare`.
        people: Pairs of hands at the mould. [-]
        temperature: Of shop and resin, "18 degC"; else that of the printed pot life.
        ratio: Resin to hardener by weight, from the can: "100:30".
        pot: Most to mix at once: "150 g".
        habits: As for `compare`.

    Raises:
        RangeError: A temperature that no shop has, a ratio that the resin can't have, or a batch too small to mix.
        TooFastError: The smallest batch gels before it is used up.
        UnitError: A quantity that can't be read.
    """
    from layup.make.batches import mixes
    from layup.make.mixing import read_mixing
    from layup.weight.prediction import predict

    prediction = predict(part, folder, habits)
    return mixes(prediction.job, prediction.weighed, **read_mixing(people, temperature, ratio, pot))


def weigh(
    part: str | Path,
    weight: str,
    *,
    at: str = "finished",
    piece: str = "1",
    sure: bool = False,
    folder: str | Path | None = None,
) -> Noted:
    """Note what the scale said of a part, and see what that says.

    Args:
        part: Path of the part file.
        weight: As the scale shows it: "2 lb 13 oz".
        at: The stage of the work: "demoulded", "trimmed", "finished"...
        piece: Which copy of the part.
        sure: Keep it even if it looks wrong.
        folder: The shop's; else the nearest above the part file that holds a record, else the part file's own.

    Returns:
        The weigh-in as it is kept, and what explains it.

    Raises:
        LayupError: It looks wrong and `sure` is not said, or there is no such stage; nothing is kept then.
        StoreError: It could not be kept.
    """
    from layup.errors import nearest
    from layup.learn.expected import STAGES, stage_of
    from layup.learn.folder import shop_folder
    from layup.learn.scale import echo
    from layup.learn.weigh_part import read_scale
    from layup.learn.weighins import Circumstances

    path, stage = Path(part), stage_of(at)
    if stage not in STAGES:
        raise LayupError(f'there is no stage "{at}". {nearest(stage, STAGES) or "Stages: " + ", ".join(STAGES) + "."}')
    home = Path(folder) if folder is not None else shop_folder(path) or path.absolute().parent
    seen = read_scale(
        path, home, mass=echo(weight).mass, said=weight, stage=stage, coupon=None, around=Circumstances(piece)
    )
    asked = () if sure else seen.questions()
    if asked:
        raise LayupError(
            f"{asked[0]} Nothing was noted: write the weight with its right unit, or sure=True if it is right"
        )
    return seen.note()


def shop(folder: str | Path = ".") -> Calibration:
    """What the scale of a shop has taught: how much resin it leaves, in which process and cloth.

    Args:
        folder: Of the shop, or one below it.

    Raises:
        LayupError: There is no record there or above.
    """
    from layup.learn.calibrate import calibrate
    from layup.learn.folder import shop_folder
    from layup.learn.store import find_store

    home = shop_folder(Path(folder) / "part")
    store = None if home is None else find_store(home)
    if store is None:
        raise LayupError(f'there is no record in "{folder}" or above it. The first weigh-in starts one')
    with store:
        return calibrate(store)


def ledger(refit: str | Path, *, as_of: str | None = None) -> Ledger:
    """What has come out of the aircraft and gone in, and where it balances now.

    Args:
        refit: Path of the refit file.
        as_of: As it stood: a day, a time (UTC) or an entry's number.

    Raises:
        FaultsError: The refit file, or a part file it names, has faults.
    """
    from layup.learn.calibrate import habits_near
    from layup.learn.folder import shop_folder
    from layup.learn.moments import moment_of
    from layup.learn.store import find_store
    from layup.refit.ledger import read_ledger
    from layup.refit.refitfile import read_refit

    path = Path(refit)
    job = read_refit(path, habits=habits_near(path))
    store = find_store(shop_folder(path) or path.absolute().parent)
    if store is None:
        return read_ledger(job, None, moment_of(as_of))
    with store:
        return read_ledger(job, store, moment_of(as_of))


def pounds(kg: float) -> str:
    """A mass in pounds and ounces.

    >>> pounds(1.28)
    '2 lb 13 1/4 oz'
    """
    from layup.words import mass_words

    return mass_words(kg)


def kilograms(text: str) -> float:
    """A mass as it is written, in kilograms.

    >>> round(kilograms("2 lb 13 oz"), 4)
    1.2757

    Raises:
        UnitError: It can't be read, has no unit, or is no mass.
    """
    from layup.units import parse

    return parse(text, "mass")


def _job(part: Part, folder: str | Path | None) -> Job:
    return part if isinstance(part, Job) else read_part(part, folder)
