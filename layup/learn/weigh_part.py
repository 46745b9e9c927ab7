"""From the scale into the record: what `layup weigh` and the bench page both do with a weight that was read.

- Before it is kept:                     `read_scale(...)`, then `OnScale.questions()`
- Keep it, and say what it means:        `OnScale.note()`
- The newest, those taken back too:      `newest_noted(store, count)`
- A name for another copy of the part:   `next_piece(store, part)`
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from layup.errors import LayupError
from layup.learn.calibrate import calibrate, tables_of
from layup.learn.expected import STAGES, WHOLE_STAGES
from layup.learn.explain import Explanation, explain
from layup.learn.schema import UNDO
from layup.learn.store import Store, find_store, open_store
from layup.learn.weighins import (
    KIND,
    Circumstances,
    WeighIn,
    expected_at,
    from_entry,
    of_piece,
    out_of_order,
    predict_piece,
    questions,
    weigh_in,
)
from layup.partfile.job import Job
from layup.weight.prediction import Prediction
from layup.words import in_system, mass_both


@dataclass(frozen=True)
class OnScale:
    """A weight that was read and not kept yet.

    Attributes:
        part: Path of the part file.
        folder: The shop's, where the record lies or is to be made.
        mass: [kg]
        said: As it was written.
        stage: Of the work.
        coupon: Sides, where a coupon is on the scale. [m]
        around: What else is known.
        prediction: Of what is on the scale, with the shop's habits before this weight.
        known: Whether the record is there already.
    """

    part: Path
    folder: Path
    mass: float
    said: str
    stage: str
    coupon: tuple[float, ...] | None
    around: Circumstances
    prediction: Prediction
    known: bool

    def questions(self) -> tuple[str, ...]:
        """What to ask before it is kept, in the part's units; none where it is believable."""
        return tuple(in_system(one, self.prediction.job.part.units) for one in self._questions())

    def _questions(self) -> tuple[str, ...]:
        elsewhere = {}
        for stage in STAGES:
            due = None if stage == self.stage else expected_at(self.prediction, stage)
            if due is not None:
                elsewhere[stage] = due["mean"]
        asked = questions(self.mass, self.said, expected_at(self.prediction, self.stage), elsewhere)
        if asked:
            return asked
        before = {}
        store = find_store(self.folder)
        if store is not None:
            with store:
                piece = of_piece(store, self.prediction.title, self.around.piece)
            before = {one.stage: one.mass for one in piece}
        return out_of_order(self.mass, self.said, self.stage, before, elsewhere.get("resin-mixed", math.inf))

    def note(self) -> Noted:
        """Keep it, and say what it means.

        Raises:
            StoreError: It could not be kept.
        """
        around, prediction = self.around, self.prediction
        with open_store(self.folder) as store:
            earlier = of_piece(store, prediction.title, around.piece)
            kept = weigh_in(
                store=store,
                part=self.part,
                mass=self.mass,
                stage=self.stage,
                said=self.said,
                circumstances=around,
                prediction=prediction,
                coupon=self.coupon,
            )
        told = None
        if self.stage in WHOLE_STAGES:
            before = [(one.stage, one.mass) for one in earlier]
            told = explain(prediction, self.mass, self.stage, around.resolution, before)
        again = [one for one in earlier if one.stage == self.stage]
        return Noted(kept, told, prediction, again[-1] if again else None, not self.known)


@dataclass(frozen=True)
class Noted:
    """A weight that is on the disk.

    Attributes:
        weighed: As it is kept.
        explanation: What it says; None at a stage that is not of a whole part.
        prediction: It was held against.
        replaces: The weigh-in of the same piece at the same stage that it stands in place of.
        begun: Whether it started the record.
    """

    weighed: WeighIn
    explanation: Explanation | None
    prediction: Prediction
    replaces: WeighIn | None
    begun: bool

    def __repr__(self) -> str:
        what = mass_both(self.weighed.mass, "both")
        return f"Noted({self.prediction.title!r}, {self.weighed.stage}: {what}; entry {self.weighed.entry.number})"


def read_scale(
    part: Path,
    folder: Path,
    mass: float,
    said: str,
    stage: str,
    coupon: tuple[float, ...] | None,
    around: Circumstances,
    job: Job | None = None,
) -> OnScale:
    """A weight held against what is expected, before it is kept.

    Args:
        part: Path of the part file.
        folder: The shop's.
        mass: [kg]
        said: As it was written.
        stage: One of `layup.learn.expected.STAGES`.
        coupon: Sides, where a coupon of the layup is on the scale. [m]
        around: What else is known.
        job: The part file where it has been read already.

    Returns:
        The weight; nothing is kept.

    Raises:
        FaultsError: The part file has faults.
    """
    store = find_store(folder)
    habits = {}
    if store is not None:
        with store:
            habits = calibrate(store, job.library if job is not None else tables_of(part)).habits
    prediction = predict_piece(job if job is not None else part, habits, coupon, around.vacuum)
    return OnScale(
        part=part,
        folder=folder,
        mass=mass,
        said=said,
        stage=stage,
        coupon=coupon,
        around=around,
        prediction=prediction,
        known=store is not None,
    )


@dataclass(frozen=True, slots=True)
class Listed:
    """A weigh-in of the record, and the number of the entry that took it back; None where it stands."""

    weighed: WeighIn
    undone_by: int | None


def newest_noted(store: Store, count: int) -> list[Listed]:
    """The last so many weigh-ins, the newest first, those taken back among them."""
    rows = store.query("SELECT number FROM weighins ORDER BY number DESC LIMIT ?", (count,))
    undone = {str(undo.payload["entry"]): undo.number for undo in store.entries(UNDO)}
    found = [from_entry(store.entry(row[0])) for row in rows]
    return [Listed(one, undone.get(one.entry.key)) for one in found]


def take_back(store: Store, number: int, kind: str = KIND) -> None:
    """Take back an entry of one kind, or the entry that took one back.

    Args:
        store: The shop's record.
        number: Of the entry.
        kind: It must be of, or must have taken back.

    Raises:
        LayupError: It is of another kind, or has been taken back already.
    """
    entry = store.entry(number)
    target = entry
    while target.kind == UNDO:
        row = store.query("SELECT number FROM entries WHERE key = ?", (str(target.payload["entry"]),))
        target = store.entry(int(row[0][0]))
    if target.kind != kind:
        raise LayupError(f"entry {number} is something else in the record. Take it back where it was made")
    store.undo(entry)


def next_piece(store: Store | None, part: str) -> tuple[str, tuple[str, ...]]:
    """A free name for another copy of a part, and the names of those weighed so far."""
    if store is None:
        return "2", ()
    rows = store.query("SELECT DISTINCT piece FROM weighins WHERE stands = 1 AND part = ? ORDER BY number", (part,))
    known = tuple(str(row[0]) for row in rows)
    number = 2
    while str(number) in known:
        number += 1
    return str(number), known
