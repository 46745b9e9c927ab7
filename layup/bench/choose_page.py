"""Choosing the layup: what the part must do, the search beside the page, the front, one layup of it, and into the part.

The search runs in a process of its own (`choose_work`) on the part as it stood when it began; a page that is loaded
again finds it by the part's name, and says so where the part was changed since.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from layup.bench import labels as said
from layup.bench.choose_needs import (
    HELD,
    JOINTS,
    SECTION,
    SIDES,
    by_field,
    core_list,
    joint_changes,
    kept_whole,
    lacking,
    listed,
    local_changes,
    needs_changes,
    shelf_of,
    shown_value,
    stiffness_of,
    supports_of,
    with_shelf,
)
from layup.bench.choose_work import Answer, Point, search
from layup.bench.desk import Sheet
from layup.bench.folder import named_files
from layup.bench.part_page import in_words, whole
from layup.bench.rendering import sentence
from layup.bench.request import Asked, go, link, show
from layup.choosing.front_svg import FrontMark, currency_of, front_svg, times_words
from layup.choosing.stack_svg import local_lines, stack_lines, stack_svg
from layup.choosing.words import PRESS, LayupWords, failing_words, layup_words, money_words, reserve_words, value_words
from layup.errors import LayupError
from layup.files.reading import Json
from layup.partfile import edit as parttext
from layup.words import mass_both, mass_words, thickness_words

if TYPE_CHECKING:
    from starlette.responses import Response

    from layup.bench.running import Work
    from layup.choosing.layups import Layup
    from layup.spread import Interval
    from layup.words import System

FLOW = "choose"


def choose(asked: Asked) -> Response:
    """The page."""
    if not asked.file:
        return go("/", said="take a part first, or begin one")
    return _page(asked, asked.desk.sheet(asked.file))


def edit(asked: Asked) -> Response:
    """What the part must do, changed."""
    form, operation = asked.form, asked.form.get("op", "save")
    kind = asked.form.get("table", "").removeprefix("needs.")
    table = f"needs.{kind}" if kind in ("local", *JOINTS) else "needs"
    number = whole(form.get("number", ""), 0)
    sheet = asked.desk.sheet(asked.file)
    if table == "needs.local" and operation == "add":
        zone = form.get("zone", "")
        return _edit(
            asked, f"plies of its own allowed on {zone}", lambda text: parttext.add(text, table, {"zone": zone})
        )
    if kind in JOINTS and operation == "add":
        values = joint_changes(kind, {}, form)
        if wrong := lacking(kind, values):
            raise LayupError(f"nothing was added yet. {wrong}")
        return _edit(asked, f"{JOINTS[kind][1]} {values['name']} added", lambda text: parttext.add(text, table, values))
    if table != "needs" and operation == "drop":
        what = JOINTS[kind][1] if kind in JOINTS else "needs of zone"
        return _edit(asked, f"{what} {number + 1} taken out", lambda text: parttext.drop(text, table, number))
    if table != "needs":
        entries = sheet.entries(table)
        entry = entries[number] if number < len(entries) else {}
        changes = joint_changes(kind, entry, form) if kind in JOINTS else local_changes(entry, form)
        path: parttext.Key = ("needs", kind, number)
    else:
        now = sheet.data.get("needs")
        changes = needs_changes(now if isinstance(now, dict) else {}, form)
        path = ("needs",)

    near = form.get("near", _near(sheet))
    beside = {"near": near} if near != _near(sheet) else {}

    def change(text: str) -> str:
        new = text
        for key, value in changes.items():
            new = parttext.put(new, (*path, key), value)
        for key, value in beside.items():
            new = parttext.put(new, (key,), value)
        return kept_whole(text, new)

    said = ", ".join(f"{key.replace('_', ' ')} {in_words(value)}" for key, value in {**changes, **beside}.items())
    sheet = asked.desk.edit(asked.file, form.get("base", ""), f"needs: {said}"[:160], change)
    for key in form:
        asked.desk.journal.type(asked.file, field_id(table, number, key), None)
    return _after(asked, sheet)


def shelf_edit(asked: Asked) -> Response:
    """What is on the shelf, changed."""
    form, operation = asked.form, asked.form.get("op", "save")
    now = shelf_of(asked.desk.sheet(asked.file))
    number = whole(form.get("number", ""), -1)
    name, thick = form.get("name", "").strip(), form.get("thickness", "").strip()
    fabrics, cores = list(now.fabrics), list(now.cores)
    change: dict[str, str] = {}
    if operation == "add-fabric" and name and name not in fabrics:
        change, words = {"fabrics": listed([*fabrics, name])}, f"{name} put on the shelf"
    elif operation == "drop-fabric" and 0 <= number < len(fabrics):
        words = f"{fabrics.pop(number)} taken off the shelf"
        change = {"fabrics": listed(fabrics)}
    elif operation == "add-core" and name:
        change, words = {"cores": core_list([*cores, (name, thick)])}, f"{name} {thick} put on the shelf"
    elif operation == "save-core" and 0 <= number < len(cores):
        cores[number] = (cores[number][0], thick)
        change, words = {"cores": core_list(cores)}, f"{cores[number][0]} on the shelf in {thick}"
    elif operation == "drop-core" and 0 <= number < len(cores):
        words = f"{cores.pop(number)[0]} taken off the shelf"
        change = {"cores": core_list(cores)}
    elif operation == "save" and "ways" in form:
        ticked = [key.removeprefix("process.") for key in form if key.startswith("process.")]
        solid = "solid" in form
        words = "ways of laying up: " + ", ".join(ticked)
        if ticked != list(now.processes):
            change["processes"] = listed(ticked)
        if solid != now.solid:
            change["solid"] = "" if solid else "false"
            words = "without a core " + ("too" if solid else "not")
    if not change:
        return _after(asked, asked.desk.sheet(asked.file))
    return _edit(asked, words, lambda text: with_shelf(text, now, change))


def undo(asked: Asked) -> Response:
    """Take the last change back."""
    return go("/choose", file=asked.file, said=f"taken back: {asked.desk.undo(asked.file)}")


def redo(asked: Asked) -> Response:
    """Make it again."""
    return go("/choose", file=asked.file, said=f"made again: {asked.desk.undo(asked.file, again=True)}")


def start(asked: Asked) -> Response:
    """Begin the search on the part as it stands; one that runs on an older state of it is ended."""
    works = asked.bench.works
    with asked.desk.lock(asked.file):
        sheet = asked.desk.sheet(asked.file)
        if not _may_search(asked, sheet):
            raise LayupError("put right what is wrong with the part first; then it can be searched")
        running = works.newest(FLOW, asked.file)
        if running is None or running.ended or running.stopped or running.about[2] != sheet.version:
            if running is not None:
                works.stop(running.name)
            about = (FLOW, asked.file, sheet.version, str(time.monotonic_ns()))
            works.start(
                about,
                search,
                sheet.path.name,
                sheet.text,
                str(sheet.path.parent),
                asked.desk.habits(sheet.path, sheet.data),
            )
    return _after(asked, sheet)


def stop(asked: Asked) -> Response:
    """End the search with the best so far."""
    work = asked.bench.works.newest(FLOW, asked.file)
    if work is not None:
        asked.bench.works.stop(work.name)
    return _after(asked, asked.desk.sheet(asked.file))


def progress(asked: Asked) -> Response:
    """How far the search is, for the page's script."""
    from starlette.responses import JSONResponse

    asked.folder.path(asked.file)
    work = asked.bench.works.newest(FLOW, asked.file)
    if work is None:
        return JSONResponse({"name": "", "state": "", "words": "", "seconds": 0.0})
    return JSONResponse(
        {"name": work.name, "state": work.state, "words": progress_words(work), "seconds": round(work.lasted, 1)}
    )


def progress_words(work: Work) -> str:
    """How far a work is; once it is told to stop, that it is about to."""
    return f"stopping, with the best so far ({work.words})" if work.stopped and not work.ended else work.words


def as_json(asked: Asked) -> Response:
    """What `layup choose --json` gives, of the last search."""
    from starlette.responses import JSONResponse

    return JSONResponse(_answer(asked)[1].machine)


def take(asked: Asked) -> Response:
    """Write a layup of the answer into the part; it can be taken back like every change."""
    from layup.choosing.writeback import with_plies

    work, answer = _answer(asked)
    point = answer.point(asked.form.get("point", ""))
    if point is None or work.name != asked.form.get("work"):
        raise LayupError("that layup is of an earlier search. Choose one of those that the page shows now")
    words = f"took in layup {point.letter}, {point.layup.process}: {point.layup.words}"[:200]
    asked.desk.edit(asked.file, asked.form.get("base", ""), words, lambda text: with_plies(text, point.layup))
    return go("/part", file=asked.file, said=f"layup {point.letter} is in the part now: {point.layup.words}")


def _answer(asked: Asked) -> tuple[Work, Answer]:
    """The last search and its answer."""
    asked.folder.path(asked.file)
    work = asked.bench.works.newest(FLOW, asked.file)
    if work is None or work.state != "done":
        raise LayupError("there is no answer yet: search first")
    answer: Answer = work.answer
    return work, answer


def _edit(asked: Asked, words: str, change: Callable[[str], str]) -> Response:
    return _after(asked, asked.desk.edit(asked.file, asked.form.get("base", ""), words, change))


NEARS = (
    ("", "anywhere, not said yet"),
    ("engine", "beside the engine"),
    ("aerial", "over an aerial"),
    ("fuel", "beside fuel"),
    ("dark in the sun", "dark in the sun"),
    ("nothing", "beside none of these"),
)
"""What a part may stand beside, as the sentence says it."""


def _near(sheet: Sheet) -> str:
    """What it stands beside, as written."""
    return shown_value(sheet.data.get("near"))


def _after(asked: Asked, sheet: Sheet) -> Response:
    """The page again: at once for the page's own script, by way of a redirect for a plain form."""
    if asked.form.get("script"):
        return _page(asked, sheet)
    return go("/choose", file=asked.file, point=asked.query.get("point", ""))


def _may_search(asked: Asked, sheet: Sheet) -> bool:
    """Whether the part file reads; a part without plies does, and can be searched."""
    return all(f.line is None for f in sheet.faults) and not named_files(sheet.data, asked.folder, sheet.path.parent)


def _page(asked: Asked, sheet: Sheet) -> Response:
    from layup.choosing.checks import CAUTIONS
    from layup.choosing.screen import steps_grid
    from layup.choosing.words import ADVICE, failing_words
    from layup.laminate.strength import CRITERIA

    work = asked.bench.works.newest(FLOW, asked.file)
    answer: Answer | None = work.answer if work is not None and work.state == "done" else None
    written = sheet.data.get("needs")
    needs = by_field(written) if isinstance(written, dict) else {}
    library, shelf = asked.desk.library(sheet), shelf_of(sheet)
    again = asked.desk.journal.next(asked.file)
    shown_now = shown_layup(answer, asked.query.get("point", "")) if answer else None
    words: Json = {"front": "", "rows": [], "steps": None, "prices": False, "nearest_fails": ()}
    if answer is not None:
        letter = shown_now.letter if shown_now else ""
        words = {
            "front": marks_of(answer, asked.file, letter),
            "rows": rows_of(answer, asked.file, letter),
            "steps": steps_grid(answer.steps, answer.system),
            "prices": prices_of(answer),
            "nearest_fails": failing_words(answer.nearest) if answer.nearest else (),
        }
    return show(
        asked, "choose.html", sheet=sheet, work=work, answer=answer, shown=shown_now,
        system=answer.system if answer else sheet.system,
        stale=work is not None and work.about[2] != sheet.version, change=asked.desk.last_change(sheet),
        again=again if again is not None and again.before == sheet.text else None, may=_may_search(asked, sheet),
        needs=needs, value=shown_value,
        joints=JOINTS, near=_near(sheet), nears=NEARS,
        old_fasteners=[(str(e.get("name", "")),) * 2 for e in sheet.entries("fasteners")],
        stiffness=stiffness_of(needs.get("stiffness")), held=HELD, sides=SIDES,
        section=SECTION, supports=supports_of(needs.get("supports")), local=sheet.entries("needs.local"), shelf=shelf,
        criteria=[(name, name) for name in CRITERIA], surface_choices=[(name, name) for name in shelf.fabrics],
        names={kind: library.names(kind) for kind in ("fabric", "core", "process")},
        zones=[str(e.get("name", "")) for e in sheet.entries("zone")], typed=asked.desk.journal.typed(asked.file),
        field=field_id, cautions=list(dict.fromkeys([*CAUTIONS, *(answer.cautions if answer else ())])), now_letter=NOW,
        nearest_letter=NEAREST, advice=ADVICE, progress_words=progress_words, point=asked.query.get("point", ""),
        fault=lambda *path: _faults_at(sheet, path), elsewhere=_elsewhere(sheet),
        habits=bool(asked.desk.habits(sheet.path, sheet.data)), **words,
    )  # fmt: skip


def field_id(table: str, number: int, key: str) -> str:
    """The id of a field, by which what is typed in it is kept before it is entered."""
    return f"f-{table.replace('.', '-')}-{number}-{key}"


def _faults_at(sheet: Sheet, path: tuple[str | int, ...]) -> list[str]:
    """What is wrong with a key, or with a table itself."""
    whole = len(path) == 1 or isinstance(path[-1], int)
    return [
        sentence(said.plain(f"{fault.wrong}. {fault.remedy}".strip()))
        for key, fault in sheet.fault_keys.items()
        if (key == path if whole else key[: len(path)] == path)
    ]


def _elsewhere(sheet: Sheet) -> list[str]:
    """What is wrong with the part that no field of this page shows."""
    here = {id(f) for key, f in sheet.fault_keys.items() if key[0] in ("needs", "shelf")}
    return [
        f"{said.place(f.place) or (f'line {f.line}' if f.line else '')} {said.plain(f'{f.wrong}. {f.remedy}')}".strip()
        for f in sheet.faults
        if id(f) not in here
    ]


ROUTES = (
    ("/choose", "GET", choose),
    ("/choose/edit", "POST", edit),
    ("/choose/shelf", "POST", shelf_edit),
    ("/choose/undo", "POST", undo),
    ("/choose/redo", "POST", redo),
    ("/choose/start", "POST", start),
    ("/choose/stop", "POST", stop),
    ("/choose/progress", "GET", progress),
    ("/choose/json", "GET", as_json),
    ("/choose/take", "POST", take),
)


STIFFER = 1.02
"""From so many times the stiffness of the lightest on, a layup buys stiffness. [-]"""
NOW, NEAREST = "Now", "Nearest"
"""Letters of what is no point of the front: the part as it stands, and what comes nearest where nothing passes."""


@dataclass(frozen=True)
class Row:
    """A row of the table of all that passes, in words."""

    letter: str
    label: str
    plies: str
    mass: str
    thick: str
    money: str
    times: str
    gives: str
    href: str
    kept: bool
    lightest: bool
    chosen: bool
    buys: str = ""


@dataclass(frozen=True)
class CheckRow:
    """One check of a layup, in words."""

    name: str
    has: str
    due: str
    reserve: str
    passed: bool
    formula: str
    source: str
    way: str


@dataclass(frozen=True)
class Shown:
    """One layup in full, in words and drawings.

    Attributes:
        letter: By which the page calls it.
        head: What it is.
        process: Name.
        mass: Of the part.
        range: Nine builds in ten.
        thick: With the films on its faces.
        money: Of the material.
        times: As stiff as the lightest; "" where not known.
        held: The check with the smallest reserve; "" without checks.
        stack: The drawing; "" where there is none.
        local: Zone and drawing of plies that zones get besides.
        checks: Every check.
        failing: What fails, and by how much.
        why: Why there are no checks.
        takes: Whether it can be taken into the part.
    """

    letter: str
    head: str
    process: str
    mass: str
    range: str
    thick: str
    money: str
    times: str
    held: str
    stack: str
    local: tuple[tuple[str, str], ...]
    checks: tuple[CheckRow, ...]
    failing: tuple[str, ...]
    why: str
    takes: bool


def marks_of(answer: Answer, file: str, chosen: str) -> str:
    """The drawing of the front; "" where nothing passes."""
    if not answer.points:
        return ""
    system = answer.system
    best = "lightest" if answer.sure else "so far"
    marks = [
        FrontMark(
            letter=p.letter,
            mass=p.layup.mass.mean,
            money=p.layup.cost.single,
            times=p.times,
            name=f"{p.letter}, {p.layup.label}: {mass_both(p.layup.mass.mean, system)}, {money_words(p.layup)}, "
            f"{times_words(p.times)} as stiff as the lightest{'. ' + more if (more := buys(answer, p)[1]) else ''}",
            href=_href(file, p.letter),
            kept=p.kept,
            lightest=best if p.lightest else "",
            chosen=p.letter == chosen,
            buys=buys(answer, p)[0],
        )
        for p in answer.points
    ]
    if answer.now is not None:
        said = f"The part as it stands now: {mass_both(answer.now.mass.mean, system)}"
        marks.append(
            FrontMark(
                letter=NOW,
                mass=answer.now.mass.mean,
                money=answer.now.cost.single,
                times=answer.now_times,
                name=said,
                href=_href(file, NOW),
                kept=False,
                lightest="",
                chosen=chosen == NOW,
                now=True,
            )
        )
    return front_svg(marks, system)


def buys(answer: Answer, point: Point) -> tuple[str, str]:
    """What a point buys against the lightest: in two words for its label, and in a sentence."""
    best = next((p for p in answer.points if p.lightest), None)
    if best is None or point.lightest:
        return "", ""
    more = point.layup.mass.mean - best.layup.mass.mean
    sums = [p.layup.cost.single for p in (point, best)]
    less = sums[1][0] - sums[0][0] if sums[0] and sums[1] and sums[0][1] == sums[1][1] else 0.0
    stiff = f"{times_words(point.times)} as stiff" if point.times >= STIFFER else ""
    cheap = f"{less:.2f} {sums[0][1]} less" if sums[0] and less >= 0.01 * sums[0][0] else ""
    got = " and ".join(one for one in (stiff, cheap) if one) or "nothing but another cloth, core or process"
    for_ = f"+{_one(more, answer.system)} buys" if more > 0 else "At the same weight:"
    short = times_words(point.times) if stiff else f"−{less:.2f} {sums[0][1]}" if cheap and sums[0] else ""
    return short, f"{for_} {got}"


def prices_of(answer: Answer) -> bool:
    """Whether the front has prices upwards."""
    return bool(currency_of([FrontMark("", 0.0, p.layup.cost.single, None, "", "") for p in answer.points]))


def rows_of(answer: Answer, file: str, chosen: str) -> list[Row]:
    """The same as a table, the lightest first, the part as it stands last."""
    system = answer.system

    def gives(words: LayupWords) -> str:
        return f"gives {words.stiff} at {PRESS[system]}" if answer.by_panel else f"strip {words.stiff}"

    rows = []
    for p in answer.points:
        words = layup_words(p.layup, answer.by_panel, system)
        rows.append(
            Row(
                letter=p.letter,
                label=words.label if answer.sure or not p.lightest else "the best so far",
                plies=words.plies,
                mass=words.mass,
                thick=words.thick,
                money=words.money,
                times=times_words(p.times),
                gives=gives(words),
                href=_href(file, p.letter),
                kept=p.kept,
                lightest=p.lightest,
                chosen=p.letter == chosen,
                buys=buys(answer, p)[1],
            )
        )
    now = answer.now
    if now is not None:
        own = layup_words(now.layup, answer.by_panel, system) if now.layup else None
        times = times_words(answer.now_times) if answer.now_times is not None else ""
        rows.append(
            Row(
                letter=NOW,
                label="the part as it stands",
                plies=own.plies if own else now.process,
                mass=mass_both(now.mass.mean, system),
                thick=thickness_words(now.thickness, system),
                money=own.money if own else "",
                times=times,
                gives=gives(own) if own else "",
                href=_href(file, NOW),
                kept=False,
                lightest=False,
                chosen=chosen == NOW,
            )
        )
    return rows


def shown_layup(answer: Answer, letter: str) -> Shown | None:
    """One layup in full: the one asked for, else the lightest, else the nearest."""
    system = answer.system
    if letter == NOW and answer.now is not None:
        now = answer.now
        times = times_words(answer.now_times) if answer.now_times is not None else ""
        if now.layup is None:
            return Shown(
                letter=NOW,
                head="The part as it stands",
                process=now.process,
                mass=mass_both(now.mass.mean, system),
                range=_range(now.mass, system),
                thick=thickness_words(now.thickness, system),
                money="",
                times=times,
                held="",
                stack="",
                local=(),
                checks=(),
                failing=(),
                why=now.why,
                takes=False,
            )
        return _in_full(answer, now.layup, NOW, "The part as it stands", times, False)
    point = answer.point(letter) or next((p for p in answer.points if p.lightest), None)
    if point is not None:
        head = f"{point.letter}: {answer.lead if point.lightest else 'lightest with ' + point.layup.label}"
        return _in_full(answer, point.layup, point.letter, head, times_words(point.times), True)
    if answer.nearest is not None:
        return _in_full(answer, answer.nearest, NEAREST, "The nearest to passing", "", False)
    return None


def _in_full(answer: Answer, layup: Layup, letter: str, head: str, times: str, takes: bool) -> Shown:
    system = answer.system
    result = layup.found.assessment
    checks = tuple(
        CheckRow(
            name=kind.name,
            has=value_words(float(value), kind.unit),
            due=f"{'at least' if kind.at_least else 'at most'} {value_words(float(limit), kind.unit)}",
            reserve=reserve_words(float(reserve)),
            passed=bool(reserve >= 1),
            formula=kind.formula,
            source=kind.source,
            way=_worked(value_words(float(value), kind.unit), value_words(float(limit), kind.unit), kind.at_least),
        )
        for kind, value, limit, reserve in zip(
            result.kinds, result.values[0], result.limits[0], result.reserves[0], strict=True
        )
    )
    name, reserve = layup.governs
    return Shown(
        letter=letter,
        head=head,
        process=layup.process,
        mass=mass_both(layup.mass.mean, system),
        range=_range(layup.mass, system),
        thick=thickness_words(layup.thickness, system),
        money=money_words(layup),
        times=times,
        held=f"{name} (reserve {reserve_words(reserve)})" if checks else "",
        stack=stack_svg(stack_lines(layup), system),
        local=tuple((zone, stack_svg(own, system, on_mould=False)) for zone, own in local_lines(layup)),
        checks=checks,
        failing=tuple(failing_words(layup)),
        why="",
        takes=takes,
    )


def _worked(has: str, due: str, at_least: bool) -> str:
    """How a reserve comes about, in its numbers."""
    return f"{has} it has over {due} due" if at_least else f"{due} allowed over {has} it has"


def _range(mass: Interval, system: System) -> str:
    return f"{_one(mass.p05, system)} to {_one(mass.p95, system)}"


def _one(kg: float, system: System) -> str:
    return mass_both(kg, "metric") if system == "metric" else mass_words(kg)


def _href(file: str, letter: str) -> str:
    return link("/choose", file=file, point=letter) + "#point"
