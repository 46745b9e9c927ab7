"""What shops do and no source prints: every figure of the bench that is common practice, in one place.

Each is a `Figure`, so that it is cited beside what rests on it. A shop that knows better passes its own value; none of
these is a rule of safety. What the resin's own data sheet says always comes first.
"""

from __future__ import annotations

import math

from layup.errors import UnitError
from layup.sources import Figure
from layup.units import parse


def _figure(what: str, name: str, printed: str, dimension: str, at: str) -> Figure:
    value = parse(printed, dimension) if dimension else float(printed)
    return Figure(
        material=what,
        property=name,
        value=value,
        printed=printed,
        kind="assumed",
        source="common-practice",
        at=at,
        low=value,
        high=value,
    )


# Cloth
GAP = _figure("cutter", "gap", "3 mm", "length", "room for a rotary cutter between two plies")
EDGE = _figure("roll", "edge", "5 mm", "length", "the edge of a roll is drawn or loose")
END = _figure("roll", "end", "20 mm", "length", "to square the end of the roll")
OVERLAP = _figure("splice", "overlap", "25 mm", "length", "overlap where a ply is made of two strips")

# Core
BEND = _figure(
    "core", "bent cold", "2 %", "fraction", "strain at its faces that a bag bends into it; its maker's radii come first"
)
SAG = _figure("core", "off the mould", "0.5 mm", "length", "gap under the middle of a strip between two scores")

# Resin
WET_OUT = _figure(
    "two hands", "wetting out", "900 s", "time", "to lay, wet out and squeegee 1 m^2 of one ply of light cloth"
)
USE = _figure("a pot", "share of pot life", "0.5", "fraction", "a pot is used up in half its pot life, or it drags")
HALVING = _figure(
    "pot life", "halving", "10", "", "kelvin warmer halve the pot life; the resin's own sheet knows better"
)
MASS_POWER = _figure("pot life", "mass power", "0.333", "", "pot life falls as the cube root of the mass in a deep pot")
POT = _figure("a pot", "most", "300 g", "mass", "most to mix in one cup; more heats up by itself and can smoke")
FEED_POT = _figure(
    "a feed pot", "most", "1 kg", "mass", "most to mix at once of a slow infusion resin, in a wide bucket"
)
FILL = _figure("a cup", "filled", "0.5", "fraction", "a cup is filled to half, so that it can be stirred and cooled")
BEST_RATIO = _figure("a ratio", "error", "3 %", "fraction", "of the hardener, from which a coarse scale is told of")
SMALLEST = _figure("a pot", "least", "30 g", "mass", "least to mix on a scale that shows 0.1 g to 1 g")

LEAST_HARDENER = _figure("epoxy", "least hardener", "0.10", "fraction", "laminating epoxies are mixed 100:18 to 100:50")
MOST_HARDENER = _figure("epoxy", "most hardener", "0.60", "fraction", "beyond it the two cans have changed places")
LEAST_CATALYST = _figure("polyester", "least catalyst", "0.5 %", "fraction", "less may never cure")
MOST_CATALYST = _figure("polyester", "most catalyst", "4 %", "fraction", "more can catch fire; 1 to 2 % is usual")

# Bag
PEEL_MARGIN = _figure("peel ply, film", "margin", "25 mm", "length", "beyond the edge of the laminate")
BREATHER_MARGIN = _figure("breather", "margin", "75 mm", "length", "beyond the edge, to reach the port")
BAG_MARGIN = _figure("bagging film", "margin", "150 mm", "length", "beyond the edge: room for the tape and the port")
TAPE_MARGIN = _figure("sealant tape", "margin", "100 mm", "length", "from the edge of the laminate to the tape")
PLEATS = _figure("bagging film", "pleats", "25 %", "fraction", "more film each way, folded into pleats, or it bridges")
JOIN = _figure("bagging", "join", "50 mm", "length", "overlap where a layer of the bag is pieced")
PORT_AREA = _figure("a port", "area", "1.5 m^2", "area", "one vacuum port for so much, two at least on a long part")
LEAK_FALL = _figure("bag", "leak", "1 inHg", "pressure", "most the gauge may fall with the pump shut off")
LEAK_TIME = _figure("bag", "leak time", "5 min", "time", "how long the pump is shut off")
LEAK_FALL_FEED = _figure(
    "infusion bag", "leak", "0.3 inHg", "pressure", "most the gauge may fall before the feed opens"
)
LEAK_TIME_FEED = _figure("infusion bag", "leak time", "10 min", "time", "how long the pump is shut off")

# Time at the bench
HANDLE = _figure("two hands", "fetching a ply", "60 s", "time", "to fetch and place one ply before it is wetted out")
MIXING = _figure("a pot", "mixing", "120 s", "time", "to weigh and stir one pot; its pot life runs from the first stir")


def cut_length(reach: float) -> float:
    """Length to cut off a roll for pieces that reach so far: the end squared, up to a whole centimetre. [m]"""
    return math.ceil(round((reach + END.value) * 100, 6)) / 100


def within(value: float, least: float, most: float, what: str, where: str) -> float:
    """A figure that lies where it can.

    Raises:
        UnitError: It does not.
    """
    if not least <= value <= most:
        raise UnitError(f"{what} can't be: write one {where}. Check the unit")
    return value


def overlap(said: float | None) -> float:
    """Overlap of a ply's seams: as the part file says, else common practice. [m]"""
    return OVERLAP.value if said is None else said
