"""Read a refit file, weigh everything it names, and find every fault in it at once.

`read_refit` gives a `RefitJob`: the file as written, the empty aircraft it starts from, the items that come out, go in
and move, the load cases, the candidates and the consolidations, all in SI units.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TypedDict

from pydantic import ValidationError

from layup.errors import FaultsError, LayupError, UnitError, nearest
from layup.laminate.process import Habits
from layup.partfile.toml_file import Form, Report, read_toml
from layup.refit.balance import Balance, balance, level_arm, net_weight
from layup.refit.candidates import Candidate, read_candidate
from layup.refit.envelope import crossed_rows, envelope_of
from layup.refit.equipment import Listed, read_equipment
from layup.refit.items import ACTIONS, Action, Causes, How, Item, causes_of, stated_cause
from layup.refit.job import Aboard, Line, LoadCase, RefitJob, Weighing
from layup.refit.model import AboardEntry, ItemEntry, Massed, Placing, Refit, TankEntry, WeighingEntry
from layup.units import parse
from layup.weight.prediction import Prediction, predict
from layup.words import mass_both

REFIT_FORM = Form(
    Refit,
    missing={
        "title": 'Add a line at the top: title = "Winter refit".',
        "datum": 'Say from where arms are measured: datum = "front face of the firewall".',
        "start": 'Add a [start] table: weight = "1198 lb", cg = "78 in", or one [[start.scale]] a wheel.',
        "limits": 'Add a [limits] table: most = "1653 lb", forward = "74.5 in", aft = "81 in".',
        "forward": 'Add the forward limit: forward = "74.5 in".',
        "aft": 'Add the aft limit: aft = "81 in".',
        "most": 'Add the maximum weight: most = "1653 lb".',
        "arm": 'Add where it is: arm = "62 in".',
        "name": 'Add a line: name = "...".',
        "from": 'Add where it was: from = "30 in".',
        "to": 'Add where it is now: to = "110 in".',
        "aboard": 'Add what is aboard: aboard = { "pilot" = "180 lb" }.',
    },
)

STAYS = ("hydraulic fluid", "brake fluid", "oil", "engine oil", "coolant", "unusable fuel")
"""Liquids that the empty weight includes: fixed ballast, unusable fuel and full operating fluids."""
COMES_OFF = ("usable fuel", "fuel", "potable water", "lavatory water", "injection water")
"""Liquids that it does not include. Source: 14 CFR 23.29 as it stood before 2017, from memory."""

_MASSES = ("weighed", "listed", "each", "volume", "from_list", "predicted")
_UNIT = "Check the figure and its unit."

LEVELS = {"full": 1.0, "three quarters": 0.75, "half": 0.5, "quarter": 0.25, "empty": 0.0}


def read_refit(
    source: str | Path | Mapping[str, object],
    folder: str | Path | None = None,
    habits: Habits | None = None,
    predicting: Callable[[Path], Prediction] | None = None,
) -> RefitJob:
    """Read a refit file, or one given as a mapping of the same keys.

    Args:
        source: Path of the refit file, or its content.
        folder: Where the part files and lists it names lie; the file's own folder if left out.
        habits: What the shop's weigh-ins say of its resin, for the predictions; else published figures alone.
        predicting: Predicts a part file, by its path, where that is not to be read from the disk each time.

    Raises:
        FaultsError: With every fault of the file and of the files it names.
    """
    if isinstance(source, Mapping):
        return _Reading(Report("refit", source, {}), "", Path(folder or "."), habits, predicting).job()
    path = Path(source)
    data, lines = read_toml(path, "refit file", "refit.toml")
    home = Path(folder) if folder else path.parent
    return _Reading(Report(path.name, data, lines), path.name, home, habits, predicting).job()


class _Reading:
    """One pass over one file: the report of its faults, and the part files read so far."""

    def __init__(
        self,
        report: Report,
        file: str,
        folder: Path,
        habits: Habits | None,
        predicting: Callable[[Path], Prediction] | None,
    ) -> None:
        self.predicting = predicting or (lambda part: predict(part, habits=habits))
        self.report = report
        self.file = file
        self.folder = folder
        self.predictions: dict[str, Prediction] = {}
        self.broken: set[str] = set()
        self.listed: dict[str, Listed] = {}
        self.twice: dict[str, tuple[int, int]] = {}

    def job(self) -> RefitJob:
        data = self.report.data
        try:
            refit = Refit.model_validate(data)
        except ValidationError as error:
            REFIT_FORM.tell(error, self.report.fault)
            self.report.check()
            raise
        if refit.equipment is not None:
            self._equipment(refit.equipment)
        self._unique(refit)
        if crossed_rows(envelope_of(refit.limits)):
            self.report.fault(("limits",), "the forward limit lies behind the aft one", "Check both, and their signs.")
        start = self._weighing(refit.start, "start")
        final = self._weighing(refit.final, "final") if refit.final else None
        items = self._items(refit)
        loads = self._loads(refit)
        candidates = self._candidates(refit)
        self._too_much(refit, start.empty.mass, items)
        for number, joined in enumerate(refit.consolidation):
            for side in ("old", "new"):
                for place, piece in enumerate(getattr(joined, side)):
                    if piece.predicted is not None:
                        self._predict(piece.predicted, ("consolidation", number, side, place, "predicted"))
        self.report.check()
        return RefitJob(
            file=self.file,
            folder=self.folder,
            refit=refit,
            start=start,
            final=final,
            items=items,
            loads=loads,
            candidates=candidates,
            predictions=self.predictions,
        )

    def _equipment(self, name: str) -> None:
        path = self.folder / name
        if not path.is_file():
            near = nearest(
                name, [p.name for p in self.folder.glob("*.csv")] + [p.name for p in self.folder.glob("*.xlsx")]
            )
            self.report.fault(("equipment",), "no such file", near or "It is looked for beside the refit file.")
            return
        try:
            for entry in read_equipment(path):
                other = self.listed.setdefault(entry.name.casefold(), entry)
                if (other.mass, other.arm) != (entry.mass, entry.arm):
                    self.twice[entry.name.casefold()] = (other.line, entry.line)
        except FaultsError as error:
            self.report.faults.extend(error.faults)

    def _unique(self, refit: Refit) -> None:
        """Names must tell entries apart."""
        for table in ("removed", "added", "moved", "candidate", "load", "ballast", "consolidation"):
            seen: set[str] = set()
            for number, entry in enumerate(getattr(refit, table)):
                if entry.name in seen:
                    self.report.fault((table, number, "name"), "another entry has this name", "Give each its own name.")
                seen.add(entry.name)
        places: set[str] = set()
        for table in ("place", "tank"):
            for number, entry in enumerate(getattr(refit, table)):
                if entry.name in places:
                    self.report.fault((table, number, "name"), "another place has this name", "Give each its own name.")
                places.add(entry.name)

    def _weighing(self, entry: WeighingEntry, table: str) -> Weighing:
        lines = []
        for wheel in entry.scale:
            tare = wheel.tare.si if wheel.tare else 0.0
            text = f"{wheel.reading.text} less {wheel.tare.text}" if wheel.tare else wheel.reading.text
            lines.append(Line(wheel.at, net_weight(wheel.reading.si, tare), wheel.arm.si, text, wheel.arm.text))
        if entry.weight is not None and entry.cg is not None:
            lines.append(Line("from the record", entry.weight.si, entry.cg.si, entry.weight.text, entry.cg.text))
        for key, sign, default in (("aboard", -1, "not of the empty weight"), ("missing", 1, "was not aboard")):
            for number, thing in enumerate(getattr(entry, key)):
                mass, text, _ = self._mass(thing, (table, key, number), "new")
                note = default
                if key == "aboard" and thing.liquid is not None and self._stays(thing, (table, key, number)):
                    lines.append(
                        Line(thing.name, 0.0, thing.arm.si, text, thing.arm.text, "stays: of the empty weight")
                    )
                    continue
                lines.append(Line(thing.name, sign * mass, thing.arm.si, text, thing.arm.text, note))
        total = balance((line.mass, line.arm) for line in lines)
        if not total.mass > 0.0:
            self.report.fault((table,), "nothing is left of the empty weight", "Check the scales and what was aboard.")
            total = Balance(1.0, 0.0)
        return Weighing(
            tuple(lines), total, str(entry.date or ""), entry.by or "", entry.method or "", entry.record or ""
        )

    def _stays(self, thing: AboardEntry, path: tuple[str | int, ...]) -> bool:
        liquid = (thing.liquid or "").casefold()
        if liquid not in STAYS and liquid not in COMES_OFF:
            near = nearest(liquid, (*STAYS, *COMES_OFF)) or "Known: " + ", ".join((*STAYS, *COMES_OFF)) + "."
            self.report.fault((*path, "liquid"), "it is not known whether this liquid is of the empty weight", near)
        return liquid in STAYS

    def _items(self, refit: Refit) -> tuple[Item, ...]:
        found = []
        tables: tuple[tuple[Action, list[ItemEntry]], ...] = (("removed", refit.removed), ("added", refit.added))
        for action, entries in tables:
            for number, entry in enumerate(entries):
                found.append(self._item(refit, action, entry, (action, number)))
        for number, moved in enumerate(refit.moved):
            mass, text, causes = self._mass(moved, ("moved", number), "new")
            found.append(
                Item("moved", moved.name, mass, how_of(moved), moved.start.si, moved.end.si, causes=causes,
                     mass_text=text, arm_text=f"{moved.start.text} to {moved.end.text}", **_told(moved, refit))
            )  # fmt: skip
        return tuple(found)

    def _item(self, refit: Refit, action: Action, entry: ItemEntry, path: tuple[str | int, ...]) -> Item:
        mass, text, causes = self._mass(entry, path, "old" if action == "removed" else "new")
        arm, side, height, how, arm_text = self._where(entry, path)
        return Item(
            action=action,
            name=entry.name,
            mass=mass,
            how=how_of(entry),
            arm=arm,
            arm_to=None,
            arm_how=how,
            causes=causes,
            side=entry.side.si if entry.side else side,
            height=entry.height.si if entry.height else height,
            mass_text=text,
            arm_text=arm_text,
            part_file=entry.predicted or "",
            **_told(entry, refit),
        )

    def _mass(self, entry: Massed, path: tuple[str | int, ...], which: str) -> tuple[float, str, Causes]:
        """Mass of an entry, its words, and what makes it stray."""
        half = entry.give_or_take.si if entry.give_or_take else 0.0
        causes = stated_cause(str(path[0]), entry.name, half)
        if entry.weighed is not None:
            return entry.weighed.si, entry.weighed.text, ()
        if entry.listed is not None:
            return entry.listed.si, entry.listed.text, causes
        if entry.each is not None and entry.count is not None:
            return entry.each.si * entry.count, f"{entry.count} of {entry.each.text}", causes
        if entry.volume is not None and entry.density is not None:
            level = 1.0 if entry.level is None else entry.level
            words = f"{entry.volume.text} at {entry.density.text}" + ("" if level == 1.0 else f", {level:.0%} full")
            return entry.volume.si * entry.density.si * level, words, ()
        if entry.from_list is not None:
            row = self._row(entry.from_list, (*path, "from_list"))
            return (row.mass, row.mass_text, causes) if row else (0.0, "", ())
        prediction = self._predict(entry.predicted or "", (*path, "predicted"))
        if prediction is None:
            return 0.0, "", ()
        if which == "old":
            if prediction.replaced is None:
                self.report.fault(
                    (*path, "predicted"),
                    "this part file names nothing that it replaces",
                    "Add a [[replaces]] table to it, or give the old part's weight here.",
                )
                return 0.0, "", ()
            return prediction.replaced.mass.mean, "", causes_of(prediction, "old")
        return prediction.mass.mean, "", causes_of(prediction, "new")

    def _too_much(self, refit: Refit, empty: float, items: tuple[Item, ...]) -> None:
        """Nothing that comes off or moves, nor all of it together, may weigh what the aircraft weighs."""
        whole = mass_both(empty, "both")
        if any(fault.place.startswith("start") for fault in self.report.faults):
            return  # the aircraft's own weight is not known
        heavy = False
        for action in ACTIONS:
            for number, item in enumerate(i for i in items if i.action == action):
                if action != "added" and item.mass >= empty:
                    heavy = True
                    entry = getattr(refit, action)[number]
                    key = next((k for k in _MASSES if getattr(entry, k) is not None), "name")
                    self.report.fault((action, number, key), f"the empty aircraft itself weighs {whole}", _UNIT)
        off = math.fsum(item.change for item in items)
        if not heavy and empty + off <= 0.0:
            self.report.fault(("removed",), f"together more comes off than the empty aircraft weighs, {whole}", _UNIT)
        for number, ballast in enumerate(refit.ballast):
            if ballast.aboard is not None and ballast.aboard.si >= empty:
                self.report.fault(("ballast", number, "aboard"), f"the empty aircraft itself weighs {whole}", _UNIT)
        for number, candidate in enumerate(refit.candidate):
            if candidate.saves is not None and candidate.saves.si >= empty:
                self.report.fault(("candidate", number, "saves"), f"the empty aircraft itself weighs {whole}", _UNIT)

    def _row(self, name: str, path: tuple[str | int, ...]) -> Listed | None:
        row = self.listed.get(name.casefold())
        if row is None:
            remedy = nearest(name, [r.name for r in self.listed.values()]) or (
                "" if self.listed else 'Name the list at the top of the file: equipment = "equipment.csv".'
            )
            self.report.fault(path, "there is no such item on the equipment list", remedy)
        elif name.casefold() in self.twice:
            rows = " and ".join(map(str, self.twice[name.casefold()]))
            wrong = f"the equipment list has it twice with other figures, in rows {rows}"
            self.report.fault(path, wrong, "Give each its own name in the list.")
        return row

    def _predict(self, name: str, path: tuple[str | int, ...]) -> Prediction | None:
        if name in self.predictions:
            return self.predictions[name]
        if name in self.broken:
            return None
        try:
            self.predictions[name] = self.predicting(self.folder / name)
        except FaultsError as error:
            self.report.fault(path, "this part file has faults, named below")
            self.report.faults.extend(error.faults)
        except LayupError as error:
            self.report.fault(path, str(error))
        else:
            return self.predictions[name]
        self.broken.add(name)
        return None

    def _where(
        self, entry: ItemEntry, path: tuple[str | int, ...]
    ) -> tuple[float, float | None, float | None, str, str]:
        """Arm, side and height of an item, how its arm is known, and the arm's words."""
        if entry.arm is not None:
            return entry.arm.si, None, None, "measured", entry.arm.text
        if entry.balance_point is not None:
            return entry.balance_point.si, None, None, "balanced on a bar", entry.balance_point.text
        if entry.from_list is not None:
            row = self.listed.get(entry.from_list.casefold())
            if row is not None and row.arm is None:
                self.report.fault(path, "the list gives no arm for this item", 'Add arm = "62 in".')
            return (
                (row.arm if row and row.arm is not None else 0.0),
                None,
                None,
                "from the list",
                row.arm_text if row else "",
            )
        return self.part_arm(entry.predicted or "", entry.placed, path)

    def part_arm(
        self, name: str, placed: Placing | None, path: tuple[str | int, ...]
    ) -> tuple[float, float | None, float | None, str, str]:
        """Where a predicted part balances: its mesh placed in the aircraft, or the arm its file gives."""
        prediction = self._predict(name, (*path, "predicted"))
        if prediction is None:
            return 0.0, None, None, "", ""
        if placed is not None:
            cg = prediction.weighed.cg
            if cg is None:
                self.report.fault(
                    (*path, "placed"),
                    "the shape of this part is not known, only its area",
                    'Give its arm instead: arm = "62 in".',
                )
                return 0.0, None, None, "", ""
            return (*placed.place(cg), "its shape, placed", "")
        arm = prediction.job.part.arm
        if arm is None:
            self.report.fault(path, "where it is is missing, here and in the part file", 'Add arm = "62 in".')
            return 0.0, None, None, "", ""
        return arm, None, None, "the part file", ""

    def _loads(self, refit: Refit) -> tuple[LoadCase, ...]:
        places = {place.name: place for place in refit.place}
        tanks = {tank.name: tank for tank in refit.tank}
        cases = []
        for number, entry in enumerate(refit.load):
            aboard = []
            for name, value in entry.aboard.items():
                path = ("load", number, "aboard", name)
                try:
                    if name in tanks:
                        aboard.append(_in_tank(tanks[name], value))
                    elif name in places:
                        mass = parse(value, "mass")
                        aboard.append(Aboard(name, mass, places[name].arm.si, str(value)))
                        most = places[name].holds
                        if mass < 0.0 or (most is not None and mass > most.si * (1 + 1e-9)):
                            limit = (
                                f"holds {most.text}" if most is not None and mass >= 0 else "holds no less than nothing"
                            )
                            self.report.fault(path, f"the {name} {limit}", "Lighten this load case.")
                    else:
                        known = [*places, *tanks]
                        near = nearest(name, known) or "Places and tanks: " + ", ".join(known) + "."
                        self.report.fault(path, "there is no such place or tank", near)
                except LayupError as error:
                    self.report.fault(path, str(error))
            cases.append(LoadCase(entry.name, tuple(aboard), balance((a.mass, a.arm) for a in aboard)))
        return tuple(cases)

    def _candidates(self, refit: Refit) -> tuple[Candidate, ...]:
        names = [entry.name for entry in refit.candidate]
        found = []
        for number, entry in enumerate(refit.candidate):
            path = ("candidate", number)
            for key in ("needs", "instead_of"):
                for place, other in enumerate(getattr(entry, key)):
                    if other not in names or other == entry.name:
                        self.report.fault(
                            (*path, key, place), "there is no such other candidate", nearest(other, names)
                        )
            arm = self.part_arm(entry.predicted, entry.placed, path)[0] if entry.predicted and not entry.arm else None
            if entry.predicted and entry.predicted in {item.predicted for item in refit.added}:
                self.report.fault(
                    (*path, "predicted"), "this part is among the added items already", "Take it out of the candidates."
                )
            prediction = self._predict(entry.predicted, (*path, "predicted")) if entry.predicted else None
            if entry.predicted and prediction is None:
                continue
            if prediction is not None and prediction.replaced is None:
                self.report.fault(
                    (*path, "predicted"),
                    "this part file names nothing that it replaces",
                    "Add a [[replaces]] table to it.",
                )
                continue
            found.append(read_candidate(entry, prediction, arm))
        return tuple(found)


def how_of(entry: Massed) -> How:
    """How a mass is known: "weighed", "predicted" or "listed"; a volume of a liquid is as good as weighed."""
    if entry.predicted is not None:
        return "predicted"
    return "weighed" if entry.weighed is not None or entry.volume is not None else "listed"


class _Told(TypedDict):
    date: str
    by: str
    method: str
    note: str


def _told(entry: Massed, refit: Refit) -> _Told:
    return {
        "date": str(entry.date or ""),
        "by": entry.by or refit.by or "",
        "method": entry.method or "",
        "note": entry.note or "",
    }


def _in_tank(tank: TankEntry, value: object) -> Aboard:
    """What a load case has in a tank: a level in words or per cent, a volume, or a mass."""
    if not isinstance(value, str):
        raise UnitError(f'{value} says not how full: write "full", "half", "30 %", "12 gal" or "70 lb"')
    word = value.strip().casefold()
    full = tank.holds.si * tank.density.si
    if word in LEVELS:
        level = LEVELS[word]
    elif word.endswith("%"):
        level = parse(value, "fraction")
    else:
        try:
            level = parse(value, "volume") / tank.holds.si
        except UnitError:
            level = parse(value, "mass") / full
    if not 0.0 <= level <= 1.0 + 1e-9:
        raise UnitError(f"{value} does not go into the {tank.name}, which holds {tank.holds.text}")
    rows = [(head.si, arm.si) for head, arm in tank.arm]
    return Aboard(tank.name, full * level, level_arm(level, rows), value)
