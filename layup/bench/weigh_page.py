"""The scale: what it shows is typed in large figures, said again, noted, and held against the prediction."""

from __future__ import annotations

import threading
import uuid
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from layup.bench.desk import Kept, Sheet
from layup.bench.labels import plain
from layup.bench.request import Asked, go, record_home, record_words, show
from layup.errors import LayupError

if TYPE_CHECKING:
    from starlette.responses import Response

    from layup.learn.calibrate import Calibration
    from layup.learn.weigh_part import Listed, Noted
    from layup.learn.weighins import Circumstances, WeighIn
    from layup.partfile.cautions import Where
    from layup.words import System

STAGES = (
    ("dry-cloth", "Dry cloth"),
    ("resin-mixed", "Resin mixed"),
    ("left-in-cups", "Left in cups"),
    ("wet-laminate", "Wet laminate"),
    ("bag-materials", "Bag materials"),
    ("demoulded", "Demoulded"),
    ("trimmed", "Trimmed"),
    ("finished", "Finished"),
)
"""Stages of the work, and what their buttons say."""
NEXT_HAND: dict[str, tuple[Where, ...]] = {
    "dry-cloth": ("mix",),
    "resin-mixed": ("mix",),
    "wet-laminate": ("bag",),
    "demoulded": ("trim",),
    "trimmed": ("finish", "fit"),
}
"""What the hand does next after each stage, for the cautions that belong there."""
NUMBERS = ("value", "lb", "oz")
MORE = (
    ("scale", "The scale's smallest step", "1 g or 1/8 oz"),
    ("vacuum", "Vacuum the gauge reached", "23 inHg"),
    ("temperature", "Temperature of the shop", "70 degF"),
    ("lot", "Lot of cloth or resin, as on its label", "A-117"),
    ("person", "Who weighs, as they want to be called", ""),
    ("note", "Note", "in your words"),
    ("coupon", "A coupon, not the part: its sides", "100 mm x 100 mm"),
)
"""What may be said besides: field, label, example."""
LISTED = 12
"""Newest weigh-ins on the page. [-]"""

_noted: Kept[Noted] = Kept(60)
_done: Kept[str] = Kept(200)
_noting = threading.Lock()


@dataclass
class _Typed:
    """What stands in the fields: kept beside the part, the scale's own unit and step for the whole folder."""

    unit: str
    stage: str
    fields: dict[str, str]

    @property
    def said(self) -> str:
        """As one quantity; "" where nothing was typed."""
        from layup.learn.scale import said_of

        return said_of(self.unit, *(self.fields[name] for name in NUMBERS))


def weigh(asked: Asked) -> Response:
    """The page of one part on the scale; without a part, the parts to choose from."""
    if not asked.file or (asked.file in asked.folder.refits() and asked.file not in asked.folder.parts()):
        return show(asked, "weigh_choose.html", flow="weigh", nav="")
    return _page(asked)


def act(asked: Asked) -> Response:
    """One button of the page: what was typed is kept first, whatever comes of it."""
    from layup.learn.scale import UNITS

    form = asked.form
    path = asked.desk.path(asked.file)
    _keep(asked)
    word, _, choice = form.get("do", "note").partition(":")
    journal = asked.desk.journal
    if word == "stage" and choice in dict(STAGES):
        journal.type(asked.file, "weigh-stage", choice)
    elif word == "unit" and choice in UNITS:
        journal.type("", "weigh-unit", choice)
    elif word == "piece":
        journal.type(asked.file, "f-weigh-piece", choice[:80])
    elif word in ("note", "anyway"):
        try:
            return _note(asked, path, word == "anyway")
        except LayupError as error:
            return _page(asked, wrong=asked.folder.plain(str(error)), status=422)
    return _page(asked) if form.get("script") else go("/weigh", file=asked.file)


def _keep(asked: Asked) -> None:
    held = asked.desk.journal.typed(asked.file)
    for name in (*NUMBERS, "piece", *(key for key, _, _ in MORE)):
        text = asked.form.get(name)
        if text is None:
            continue
        field = f"f-weigh-{name}"
        if name == "scale" and text.strip() != asked.desk.journal.typed("").get(field, ""):
            asked.desk.journal.type("", field, text.strip()[:80] or None)  # of the scale, not of the part
        if text != held.get(field, ""):
            asked.desk.journal.type(asked.file, field, text[:2000] or None)


def _typed(asked: Asked, system: System) -> _Typed:
    from layup.learn.expected import stage_of
    from layup.learn.scale import UNITS

    journal = asked.desk.journal
    ours, shop = journal.typed(asked.file), journal.typed("")
    unit = shop.get("weigh-unit", "")
    if unit not in UNITS:
        unit = "g" if system == "metric" else "lb-oz"
    fields = {name: ours.get(f"f-weigh-{name}", "") for name in (*NUMBERS, "piece", *(key for key, _, _ in MORE))}
    fields["piece"] = fields["piece"] or "1"
    fields["scale"] = fields["scale"] or shop.get("f-weigh-scale", "")
    return _Typed(unit, stage_of(ours.get("weigh-stage", "trimmed")), fields)


def _note(asked: Asked, path: Path, anyway: bool) -> Response:
    """Note it, once what it is has been shown and what is odd about it has been answered."""
    from layup.learn.scale import echo, two_sides
    from layup.learn.weigh_part import read_scale

    form = asked.form
    sheet = asked.desk.sheet(asked.file)
    typed = _typed(asked, sheet.system)
    if not typed.said:
        raise LayupError("there is no weight yet. Type what the scale shows")
    heard = echo(typed.said)
    if form.get("echoed") != heard.said and form.get("sure") != heard.said:
        return _page(asked, hint="Is that what the scale shows? Then save it.")
    if sheet.prediction is None:
        raise LayupError("the part file has faults. Put them right on the part's page; the weight stays typed here")
    around = _around(typed)
    sides = two_sides(typed.fields["coupon"]) if typed.fields["coupon"].strip() else None
    with _noting:  # a button pressed twice with a glove notes once
        once = form.get("once", "")
        if not once or _done.get(once) is None:
            on_scale = read_scale(
                path,
                record_home(asked, path),
                mass=heard.mass,
                said=heard.said,
                stage=typed.stage,
                coupon=sides,
                around=around,
                job=sheet.prediction.job,
            )
            questions = on_scale.questions()
            if questions and not (anyway and form.get("sure") == heard.said):
                return _page(asked, question=questions[0], sure=heard.said)
            noted = on_scale.note()
            _noted.put(noted.weighed.entry.key, noted)
            _done.put(once or uuid.uuid4().hex, noted.weighed.entry.key)
    for name in (*NUMBERS, "vacuum", "temperature", "note", "coupon"):
        asked.desk.journal.type(asked.file, f"f-weigh-{name}", None)
    said = f"noted: {heard.said}, {dict(STAGES)[typed.stage].casefold()}"
    return _page(asked, good=said) if form.get("script") else go("/weigh", file=asked.file, said=said)


def _around(typed: _Typed) -> Circumstances:
    from layup.learn.weighins import circumstances

    given = {name: text.strip() for name, text in typed.fields.items()}
    names = ("scale", "person", "temperature", "vacuum", "lot", "note")
    return circumstances(piece=given["piece"] or "1", **{name: given[name] for name in names})


def said(asked: Asked) -> Response:
    """What is typed, said again, while it is typed: a piece of the page."""
    from starlette.responses import HTMLResponse

    from layup.bench.rendering import environment

    asked.folder.path(asked.file)
    fields = {name: asked.query.get(name, "")[:200] for name in NUMBERS}
    typed = _Typed(asked.query.get("unit", ""), "", fields)
    text = environment().get_template("weigh_said.html").render(**_heard(typed), alone=True)
    return HTMLResponse(text)


def _heard(typed: _Typed) -> dict[str, object]:
    from layup.learn.scale import echo

    try:
        return {"heard": echo(typed.said) if typed.said else None, "unheard": ""}
    except LayupError as error:
        return {"heard": None, "unheard": str(error)}


def undo(asked: Asked) -> Response:
    """Take a weigh-in back, or bring it back: both are entries, nothing is deleted."""
    from layup.learn.store import find_store
    from layup.learn.weigh_part import take_back

    path = asked.folder.path(asked.file)
    number = asked.form.get("number", "")
    home = asked.folder.shop(path)
    store = find_store(home) if home else None
    if store is None or not (number.isascii() and number.isdigit()) or len(number) > 12:
        raise LayupError("there is no such weigh-in in this shop's record")
    with store:
        take_back(store, int(number))
    good = f"entry {number} is taken back, by an entry; nothing is deleted"
    if asked.form.get("again"):
        good = "the weigh-in counts again"
    return _page(asked, good=good) if asked.form.get("script") else go("/weigh", file=asked.file, said=good)


def _page(
    asked: Asked, wrong: str = "", good: str = "", hint: str = "", question: str = "", sure: str = "", status: int = 200
) -> Response:
    from layup.learn.calibrate import calibrate
    from layup.learn.expected import STAGE_WORDS
    from layup.learn.scale import UNITS
    from layup.learn.store import find_store
    from layup.learn.weigh_part import newest_noted, next_piece
    from layup.learn.weighins import expected_at, of_piece
    from layup.learn.words import noted_words

    sheet = asked.desk.sheet(asked.file)
    path, system = sheet.path, sheet.system
    typed = _typed(asked, system)
    title = sheet.value("title") or asked.file
    home = asked.folder.shop(path)
    store = find_store(home) if home else None
    listed: list[Listed] = []
    ours: list[WeighIn] = []
    piece: list[WeighIn] = []
    last: WeighIn | None = None
    calibration: Calibration | None = None
    free, pieces = next_piece(None, title)
    if store is not None:
        with store:
            listed = newest_noted(store, LISTED)
            ours = of_piece(store, title)
            coupons = of_piece(store, f"Coupon of {title}")
            last = max((*ours, *coupons), key=lambda one: one.entry.number, default=None)
            piece = [one for one in ours if one.circumstances.piece == typed.fields["piece"].strip()]
            free, pieces = next_piece(store, title)
            calibration = calibrate(store)
    again = [one for one in piece if one.stage == typed.stage]
    expected = expected_at(sheet.prediction, typed.stage) if sheet.prediction else None
    words = record_words(asked, path)
    return show(
        asked, "weigh.html", status, wrong=wrong, sheet=sheet, title=title, system=system, typed=typed, stages=STAGES,
        stage_words=STAGE_WORDS, units=UNITS, more=MORE, expected=expected, record=words[0], above=words[1],
        listed=[(one.undone_by, noted_words(one.weighed, system)) for one in listed],
        piece=piece, pieces=pieces, free=free, again=again[-1] if again else None, hint=hint,
        question=question, sure=sure, good=good, once=uuid.uuid4().hex, last=_last(sheet, last, system, ours),
        hand=_hand(calibration),
        plain=plain, beware=sheet.prediction.at_hand(*NEXT_HAND.get(typed.stage, ())) if sheet.prediction else (),
        **_heard(typed),
    )  # fmt: skip


def _last(sheet: Sheet, last: WeighIn | None, system: System, ours: list[WeighIn]) -> dict[str, object] | None:
    """The newest weigh-in of the part and what it says, as it was said when it was noted where that is still known."""
    from layup.learn.expected import WHOLE_STAGES
    from layup.learn.explain import explain
    from layup.learn.words import cause_words, expected_words, explanation_words

    if last is None:
        return None
    noted = _noted.get(last.entry.key)
    told = noted.explanation if noted else None
    today = False
    if noted is None and last.stage in WHOLE_STAGES and last.coupon is None and sheet.prediction is not None:
        before = [
            (one.stage, one.mass) for one in ours if one.piece == last.piece and one.entry.number < last.entry.number
        ]
        told = explain(sheet.prediction, last.mass, last.stage, last.circumstances.resolution, before)
        today = True
    intro, causes = cause_words(told) if told else ("", [])
    lines = explanation_words(told, system) if told else []
    return {
        "weighed": last,
        "expected": expected_words(last, system),
        "lines": lines,
        "intro": intro,
        "causes": causes,
        "today": today,
        "replaces": noted.replaces if noted else None,
        "begun": noted.begun if noted else False,
        "off": told is not None and not told.usual,
    }


def _hand(calibration: Calibration | None) -> dict[str, object] | None:
    """The shop's habit so far: a drawing, and a sentence for each cloth."""
    from layup.learn.calibrate import drift
    from layup.learn.habits_svg import habits_svg
    from layup.learn.words import factor_words

    if calibration is None or not calibration.groups:
        return None
    rows = []
    for group in calibration.groups:
        habit = calibration.habits[group.process, group.form, group.fabric]
        moved = drift(group)
        rows.append(
            {
                "name": f"{group.fabric}, {group.process}",
                "parts": habit.parts,
                "words": factor_words(habit),
                "outliers": [group.numbers[i] for i in group.outliers],
                "unruly": group.unruly,
                "drifts": moved is not None and moved.real,
            }
        )
    return {"picture": habits_svg(calibration), "rows": rows, "lot": calibration.settings.lot}


ROUTES = (
    ("/weigh", "GET", weigh),
    ("/weigh", "POST", act),
    ("/weigh/said", "GET", said),
    ("/weigh/undo", "POST", undo),
)
