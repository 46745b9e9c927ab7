"""The laminate orientation code: a stack of plies in one line, read.

Which plies does a code stand for?      parse_stack("[(0/90)/(+-45)]s")

The code, ply by ply from the tool side:
    [0/45/90]           brackets around, a slash between plies; angles in degrees from -90 to 90
    +-45, -+45          two plies, +45 then -45, or the other way; also with the signs ± and ∓
    (0/90), (+-45)      one ply of cloth: two directions at right angles in round brackets; its warp is the first
    45f, 45w            the same ply of cloth by its warp, with the letter for fabric or woven
    0_2, (0/90)_2       repeated; the _ stands for a subscript, and is not needed after a bracket: (0/90)2
    [0/90]s, [0/90]2s   symmetric: the mirror image follows; 2s repeats the half twice, then mirrors it
    [0/90bar]s          symmetric about the middle ply, which is there once: "bar" for the line drawn above it
    [0/90]t             the whole stack is written out, as without the letter
    [[0/45]_2/90]s      a set in brackets of its own; round brackets do for a set that is not two directions
                        at right angles: (0/45/90)_2

Source: US Army TM 1-1500-204-23-11, paragraph 5-7, which follows ASTM D6507 and MIL-HDBK-17-2 (section 1.6.1). From
memory, of ASTM D6507: a colon for the subscript and a backslash for the line above a ply, where type allows
neither; both are read. "bar" is our own, readable aloud. Round brackets mean cloth first and a set second: our
choice where the code leaves both open; a set of two unidirectional plies is `[0/90]_2`, in square brackets.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from layup.errors import StackError

MOST_PLIES = 1000
DEEPEST = 20

_SIGNS = str.maketrans("₀₁₂₃₄₅₆₇₈₉ₛ−–\u00a0", "0123456789s-- ")
_SUBSCRIPT = re.compile(r"[₀-₉ₛ]+")
_ANGLE = re.compile(r"(?P<signs>(?: *[+\-±∓])*) *(?P<size>[0-9]+(?:\.[0-9]+)?|\.[0-9]+) ?(?:°|deg\b)?")
_COUNT = re.compile(r"(?P<mark> *[_:])? *(?P<brace>\{)?(?P<count>[0-9]+)?(?P<letter>[sStT])?(?P<end>\})?")
_BAR = re.compile(r" ?bar\b| *\\|[\u0304\u0305]+|bar(?=_)")


@dataclass(frozen=True, slots=True)
class StackPly:
    """One ply of a stack.

    Attributes:
        angle: Of the fibres, or of the warp of a cloth; above -90 and up to 90. [deg]
        woven: True for a cloth, with fibres across the angle too.
    """

    angle: float
    woven: bool


def parse_stack(text: str) -> tuple[StackPly, ...]:
    """The plies that a laminate orientation code stands for, from the tool side.

    Args:
        text: As "[(0/90)/(+-45)]s"; the grammar is in the head of this module.
    Returns:
        At least one ply, at most `MOST_PLIES`.
    Raises:
        StackError: not in the code; the message shows the position and the remedy.
    Source: TM 1-1500-204-23-11, paragraph 5-7 (after ASTM D6507 and MIL-HDBK-17-2).

    >>> [ply.angle for ply in parse_stack("[(0/90)/(+-45)]s")]
    [0.0, 45.0, 45.0, 0.0]
    """
    return _Reader(text).stack()


def _runs(plies: Sequence[StackPly]) -> list[str]:
    runs = [(ply, len(list(same))) for ply, same in groupby(plies)]
    return [_one(ply) + (f"_{count}" if count > 1 else "") for ply, count in runs]


def _one(ply: StackPly) -> str:
    angle = f"{_decimal(ply.angle)}"
    if not ply.woven:
        return angle
    known = {0.0: "(0/90)", 90.0: "(90/0)", 45.0: "(+-45)", -45.0: "(-+45)"}
    return known.get(ply.angle, f"{angle}f")


def _decimal(angle: float) -> str:
    text = f"{angle:.6f}".rstrip("0").rstrip(".")
    text = text if float(text) == angle else repr(angle)
    if "e" in text:
        text = f"{angle:.340f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


@dataclass(frozen=True, slots=True)
class _Item:
    """What one place between slashes stands for; `barred` plies stand about the middle and are not mirrored."""

    plies: tuple[StackPly, ...]
    barred: bool = False


class _Reader:
    """Reads one code from left to right; `at` is the place reached."""

    def __init__(self, text: str) -> None:
        self.given = text
        # A subscript in small type after a plain angle would run into the number: mark it.
        marked = _SUBSCRIPT.sub(lambda m: "_" + m[0], text) if isinstance(text, str) else ""
        self.text = marked.translate(_SIGNS)
        self.at = 0

    def fail(self, wrong: str, remedy: str, at: int | None = None) -> StackError:
        place = self.at if at is None else at
        marks = sum(1 for match in _SUBSCRIPT.finditer(str(self.given)) if match.start() < place)
        return StackError(str(self.given), place - marks + 1, wrong, remedy)

    def stack(self) -> tuple[StackPly, ...]:
        self.space()
        if self.peek() != "[":
            raise self.fail("a stack starts with a square bracket", 'Write "[0/90]" or "[(0/90)/(+-45)]s".')
        plies = self.group(0)
        self.space()
        if self.at < len(self.text):
            raise self.fail(
                f'"{self.text[self.at]}" after the end of the stack',
                'Put the whole stack in one pair of brackets: "[0/45/90]".',
            )
        return plies

    def peek(self) -> str:
        return self.text[self.at : self.at + 1]

    def space(self) -> None:
        while self.peek() == " ":
            self.at += 1

    def group(self, depth: int) -> tuple[StackPly, ...]:
        """A bracket of either kind with its subscript, from its opening on."""
        start, opening = self.at, self.peek()
        closing = "]" if opening == "[" else ")"
        if depth > DEEPEST:
            raise self.fail("too many brackets inside each other", "Write the inner ones out.")
        self.at += 1
        items: list[_Item] = []
        while True:
            items.append(self.item(depth, opening))
            self.space()
            if self.peek() == closing:
                self.at += 1
                break
            if self.peek() != "/":
                raise self.unseparated(start, closing)
            self.at += 1
        return self.ended(items, start)

    def unseparated(self, start: int, closing: str) -> StackError:
        sign = self.peek()
        if not sign:
            return self.fail(f"this bracket is never closed: {closing} is missing", f"Add {closing}.", start)
        if sign in "])":
            return self.fail(f'"{sign}" closes another kind of bracket', f"Write {closing} here.")
        if sign in "sStT_:":
            return self.fail(f'"{sign}" has no meaning here', "The s comes after the last bracket: [0/90]s.")
        return self.fail(f'a slash is due here, not "{sign}"', 'Write plies with slashes between them: "[0/45/90]".')

    def ended(self, items: list[_Item], start: int) -> tuple[StackPly, ...]:
        """The plies of a bracket with the subscript after it."""
        place = self.at
        count, letter = self.subscript(after_bracket=True)
        *first, last = items
        if any(item.barred for item in first) or (last.barred and (letter != "s" or count > 1)):
            raise self.fail(
                "a bar is for the middle ply alone",
                'Bar the last ply of a symmetric stack: "[0/90bar]s".',
                start,
            )
        half = [ply for item in (first if last.barred else items) for ply in item.plies]
        middle = list(last.plies) if last.barred else []
        if len(half) * count * (2 if letter == "s" else 1) + len(middle) > MOST_PLIES:
            raise self.fail(f"more than {MOST_PLIES} plies", "Check the number of repeats.", place)
        half *= count
        return tuple(half + middle + half[::-1]) if letter == "s" else tuple(half)

    def subscript(self, *, after_bracket: bool) -> tuple[int, str]:
        """How often, and s or t; after a plain ply the mark _ is needed and no letter may follow."""
        match = _COUNT.match(self.text, self.at)
        if match is None or not (match["count"] or match["letter"] or match["mark"]):
            return 1, ""
        if not (after_bracket or match["mark"]):
            return 1, ""
        if bool(match["brace"]) != bool(match["end"]) or not (match["count"] or match["letter"]):
            raise self.fail("a number is due after the mark of a subscript", 'Write "0_2" or "[0/90]2s".')
        letter = (match["letter"] or "").lower()
        if letter and not after_bracket:
            raise self.fail(f'"{letter}" after a ply', "The s comes after a bracket: [0/90]s.", match.start("letter"))
        digits = (match["count"] or "1").lstrip("0")
        if not digits:
            raise self.fail("nothing repeated 0 times", "Leave the ply out, or write how often it is laid.")
        count = int(digits) if len(digits) <= 4 else MOST_PLIES + 1
        self.at = match.end()
        if letter == "s" and re.match(r" *[_:]?[0-9]", self.text[self.at :]):
            raise self.fail("a number after the s", 'Write the number before the s: "[0/90]2s".')
        return count, letter

    def item(self, depth: int, opening: str) -> _Item:
        """What stands between two slashes."""
        self.space()
        start = self.at
        if self.peek() == "(":
            plies = self.cloth() or self.group(depth + 1)
        elif self.peek() == "[":
            plies = self.group(depth + 1)
        else:
            plies = self.angles()
        bar = _BAR.match(self.text, self.at)
        if bar is not None:
            self.at = bar.end()
            if len(plies) != 1:
                raise self.fail("a bar stands over one ply", 'Write the middle ply by itself: "[0/90bar]s".', start)
        count, _ = self.subscript(after_bracket=False)
        if len(plies) * count > MOST_PLIES:
            raise self.fail(f"more than {MOST_PLIES} plies", "Check the number of repeats.", start)
        return _Item(plies * count, bar is not None)

    def angles(self) -> tuple[StackPly, ...]:
        """One or more plies that share a number: 45, +-45, 45f."""
        start = self.at
        match = _ANGLE.match(self.text, self.at)
        if match is None:
            found = f'not "{self.peek()}"' if self.peek() else "and the stack ends"
            raise self.fail(f"an angle is due here, {found}", 'Write degrees: "0", "45", "-45", "+-45".')
        self.at = match.end()
        angles = self.signed(match, start)
        woven = bool(re.match(r"[fw](?=bar|[^A-Za-z]|$)", self.text[self.at :]))
        self.at += woven
        return tuple(StackPly(angle, woven) for angle in angles)

    def signed(self, match: re.Match[str], start: int) -> list[float]:
        size = float(match["size"])
        if size > 90.0:
            turned = f'"{_decimal(size - 180)}"' if size <= 180 else "an angle from -90 to 90"
            raise self.fail(f"an angle of {match['size']} is beyond 90 degrees", f"Write {turned}.", start)
        signs = match["signs"].replace(" ", "").replace("±", "+-").replace("∓", "-+")
        if len(signs) > 1 and len(set(signs)) == 1:
            raise self.fail(f'"{signs}" is one sign twice', f'Write "{signs[0]}{match["size"]}_{len(signs)}".', start)
        if len(signs) > MOST_PLIES:
            raise self.fail(f"more than {MOST_PLIES} plies", "Check the signs.", start)
        return [_direction(-size if sign == "-" else size) for sign in signs or "+"]

    def cloth(self) -> tuple[StackPly, ...] | None:
        """One ply of cloth, or None where the round brackets hold a set."""
        start = self.at
        close = self.text.find(")", start)
        inside = self.text[start + 1 : close] if close > 0 else ""
        parts = [_ANGLE.fullmatch(part.strip()) for part in inside.split("/")]
        if close < 0 or None in parts or len(parts) > 2:
            return None
        angles = [angle for part in parts if part is not None for angle in self.signed(part, start + 1)]
        across = len(angles) == 2 and abs(abs(angles[0] - angles[1]) - 90.0) < 1e-9
        if not across and len(parts) == 2:
            return None
        if not across:
            size = inside.strip().lstrip("+-±∓ ")
            raise self.fail(
                f'"({inside})" is not two directions at right angles',
                f'Write "(0/90)" or "(+-45)" for a cloth, "{size}f" for one turned by {size}, '
                f'"{inside.strip()}" for plies of one direction.',
                start,
            )
        self.at = close + 1
        count, letter = self.subscript(after_bracket=True)
        if count > MOST_PLIES:
            raise self.fail(f"more than {MOST_PLIES} plies", "Check the number of repeats.", start)
        return (StackPly(angles[0], True),) * (count * (2 if letter == "s" else 1))


def _direction(angle: float) -> float:
    """One name for each direction: -90 is 90, and -0 is 0."""
    return 90.0 if angle == -90.0 else angle + 0.0
