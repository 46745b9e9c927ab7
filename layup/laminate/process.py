r"""How a process leaves the resin: the fibre volume fraction it reaches and how far that strays.

- What does the vacuum at this altitude press with?   `settle`
- What fibre volume fraction does a form reach?       `Process.fibre_fraction`
- How much resin does a mass of cloth take up?        `Process.take_up`
- How much stands on a face of the laminate?          `Process.film`
- How much bonds a face of a core?                    `Process.bond`
- What do this shop's own weigh-ins say of it?        `Habit`, found by `layup.learn.calibrate`

Consolidation follows V_f = V_f0 ((p + h) / (p0 + h))^B, with p the pressure of the bag, no more than the air outside
can give at the shop's altitude (ISO 2533), and h what the hand presses with under any bag, so that a bag without
vacuum is a hand layup. V_f0 holds for a ply of 300 g/m^2; the resin volume per fibre volume goes with areal weight as
w^-a, the same for every weave, so that nothing jumps where a table calls a heavy cloth a roving. No V_f passes what
its form can pack to. The spread is on the resin taken up per mass of fibre, r = w_r / w_f: between shops, between
fabrics of one form, between parts of one shop, and from the exponent B where the pressure is not the one V_f0 was
read at. The figures are fitted by docs/fit_resin.py to tests/published/measured_laminates.csv.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from layup.errors import RangeError, VacuumError
from layup.laminate import allowances as allow
from layup.laminate.atmosphere import pressure_at
from layup.laminate.cured import fibre_fraction_from_take_up, resin_areal_weight
from layup.materials import Material
from layup.sources import Figure
from layup.spread import Floats, along, around_one, skewed_around_one
from layup.words import pressure_words

TIGHTEST = 0.78
"""Fibre volume fraction that no process here exceeds; round fibres packed without gaps reach 0.907. [-]"""
REFERENCE_WEIGHT = 0.300
"""Areal weight of the ply that the tables' fibre volume fractions hold for. [kg/m^2]"""
LIGHTEST, HEAVIEST = 0.05, 2.0
"""Areal weights beyond which the trend with areal weight is not carried: no row lies there. [kg/m^2]"""
CEILINGS = {
    "mat": 0.45,
    "roving": 0.68,
    "cloth": 0.68,
    "spread tow": 0.70,
    "unidirectional": 0.70,
    "biaxial": 0.68,
    "veil": 0.30,
}
"""Fibre volume fraction that a form can pack to under the press of the air, whatever the hand. The highest coupons of
a plate in the published rows: 0.637 unidirectional, 0.603 biaxial, 0.623 cloth; the rest is common practice. [-]"""
FILM_RISES, FILM_FULL_AT = 0.060, 0.200
"""The film on a face goes with the ply's areal weight as 1 - exp(-w / w0), and is full from 200 g/m^2 on: what is
spread over a cloth by hand rides on its yarns, and a thin cloth has no valleys to hold a film in. Assumed. [kg/m^2]"""

STYLES = {"squeegeed", "rolled", "brushed"}
"""Words that say by which hand it is worked, so that shops of other hands are left out of the limits."""
DOUBT_OF_WORD = 0.5
"""Share of what a word does to the resin that is its standard deviation, where no published row speaks of it. Assumed.
[-]"""

FACES = ("tool", "bag")
"""The two free faces of a laminate: against the mould, and the other."""


@dataclass(frozen=True, slots=True)
class Habit:
    """What a shop's weigh-ins say of the resin it leaves, against the published figure.

    Attributes:
        of: What it is known of: (process,), (process, form) or (process, form, fabric); a film, a bond; the area of a
            part that was weighed, in standard deviations.
        shift: Natural logarithm of the mean factor on the published take-up. [-]
        spread: Standard deviation of the logarithm that is left between what is known and the shop's true hand. [-]
        published_spread: The same before any weigh-in. [-]
        parts: How many weighed parts it rests on.
        part_spread: Spread of ln take-up between the shop's own parts, where it is known. [-]
        loads: How the logarithm goes with each of the record's standard normal variables, by which what was learnt
            together strays together; empty where it stands alone.
        open: Share of the spread that is not in them: of a fabric or form that was not weighed. [-]
        rebased: Areal weight of the cloth by the tables when its parts were weighed and by those of today, where they
            differ. [kg/m^2]
    """

    of: tuple[str, ...]
    shift: float
    spread: float
    published_spread: float
    parts: int
    part_spread: float | None = None
    loads: tuple[float, ...] = ()
    open: float = 0.0
    rebased: tuple[float, float] | None = None

    @property
    def cloth_known(self) -> bool:
        """Whether the weigh-ins were of this very fabric, so that its tolerance is in the habit already."""
        return len(self.of) == 3


def area_key(title: str, surface: float) -> tuple[str, str, str]:
    """What a habit of a part's area is known of: the part by its title and its drawn area. [m^2]"""
    return "area", title, f"{surface:.6g}"


Habits = Mapping[tuple[str, ...], Habit]
"""Habits by what they are known of; the narrowest that fits is used."""
AS_BOUGHT = ", resin in the cloth"
"""Added to a process's name where the cloth says its own resin content: a habit of its own."""


@dataclass(frozen=True, slots=True)
class TakeUp:
    """What one form of reinforcement takes up in one process.

    Attributes:
        fibre_fraction: Fibre volume over ply volume. [-]
        void_fraction: [-]
        ratio: Resin mass over fibre mass. [-]
        shop_spread: Standard deviation of ln(ratio) between shops. [-]
        part_spread: The same between parts of one shop. [-]
        pressure_spread: The same from not knowing how this cloth answers to pressure. [-]
        figures: The figures it rests on.
        learns: The process and form whose habit it follows; empty where a coupon of the shop's own says it.
        habit: The habit that was laid over the published figure, if there is one.
        least: Least factor on the ratio: what is left between fibres that are packed as tight as the form packs. [-]
    """

    fibre_fraction: float
    void_fraction: float
    ratio: float
    shop_spread: float
    part_spread: float
    pressure_spread: float
    figures: tuple[Figure, ...] = field(repr=False)
    learns: tuple[str, ...] = ()
    habit: Habit | None = None
    least: float = 0.0

    def drawn(self, process: str, fabric: str = "") -> Floats:
        """How it strays, as drawn: the shop's hand, the part's luck, the cloth's answer to pressure.

        Args:
            process: Its name, by which the causes are known.
            fabric: Name of the cloth, which has an answer of its own where the shop has not weighed it.

        Returns:
            (DRAWS,) factors of mean 1 before those are cut off that pack tighter than the form does.
        """
        if self.habit is not None and self.habit.loads:
            hand = np.exp(along(self.habit.loads)) * skewed_around_one(f"fabric, {fabric}", self.habit.open)
        else:
            hand = skewed_around_one(f"shop's hand, {process}", self.shop_spread)
        hand = hand * skewed_around_one(f"part's luck, {process}", self.part_spread)
        hand = hand * skewed_around_one("answer to pressure", self.pressure_spread)
        return np.maximum(hand / float(np.mean(hand)), self.least)

    @property
    def spread(self) -> float:
        """All three together. [-]"""
        return math.hypot(self.shop_spread, self.part_spread, self.pressure_spread)


@dataclass(frozen=True, slots=True)
class FaceResin:
    """Resin on one face: the film on a free face of the laminate, or what bonds a face of a core.

    Attributes:
        areal_weight: On this one face. [kg/m^2]
        spread: Standard deviation over mean. [-]
        figures: What it rests on.
        own: Of the spread, what differs from part to part of one shop. [-]
        habit: What the shop's weigh-ins say of it, if they do.
    """

    areal_weight: float
    spread: float
    figures: tuple[Figure, ...] = field(repr=False)
    own: float = 0.0
    habit: Habit | None = None

    def drawn(self, name: str) -> Floats:
        """How it strays, as drawn: (DRAWS,) factors of mean 1, none below 0; `name` is the cause."""
        if self.habit is None or not self.habit.loads:
            return around_one(name, self.spread)
        return np.maximum(around_one(f"{name}, own", self.own) + along(self.habit.loads), 0.0)


@dataclass(frozen=True, slots=True)
class Process:
    """A process at the pressure it works at here.

    Attributes:
        material: Its row in the tables.
        pressure: Consolidation pressure; None for a process without a bag. [Pa]
        notes: What was assumed about the pressure, for a person.
        hand: How the resin is worked, of `layup.materials.HANDS`; empty where the part file does not say.
        habits: What the shop's weigh-ins say; empty for a shop that has none.
    """

    material: Material
    pressure: float | None
    notes: tuple[str, ...] = ()
    habits: Habits = field(default_factory=dict, repr=False)
    hand: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """As the tables name it."""
        return self.material.name

    @property
    def bagged(self) -> bool:
        """Whether a bag presses on the laminate."""
        return self.material.word("bag") is not None

    @property
    def infuses(self) -> bool:
        """Whether resin is drawn into a dry stack."""
        return self.material.word("infused") is not None

    @property
    def mixes(self) -> bool:
        """Whether resin is mixed in the shop; a prepreg brings its own."""
        return self.material.word("mixed") != "no"

    @property
    def own_resin(self) -> str | None:
        """The resin it is used with where the part names none, if it has one."""
        return self.material.word("resin")

    def figure(self, name: str) -> Figure:
        """A figure of the process; MissingFigureError where no table gives it."""
        return self.material.figure(name)

    def fibre_fraction(
        self, form: str, areal_weight: float | None = None, backing: bool = False
    ) -> tuple[float, float, tuple[Figure, ...]]:
        """Fibre volume fraction of a form, and the spread that the pressure adds.

        Args:
            form: One of the forms of reinforcement.
            areal_weight: Dry, of the ply; the reference of the tables if left out. [kg/m^2]
            backing: Whether it is mat stitched to a cloth, which it beds into.

        Returns:
            V_f [-], standard deviation of ln V_f from the exponent [-], and the figures used.
        """
        printed = self.material.optional("fibre_volume_fraction", form) or self.figure("fibre_volume_fraction")
        voids = self.figure("void_content").value
        fraction, spread = printed.value, 0.0
        figures: tuple[Figure, ...] = (printed,)
        if self.pressure is not None:
            reference = self.figure("pressure")
            exponent = self.figure("pressure_exponent")
            under = self.material.optional("hand_pressure")
            hand = under.value if under is not None else 0.0
            step = math.log((self.pressure + hand) / (reference.value + hand))
            fraction *= math.exp(exponent.value * step)
            spread = abs(step) * self.figure("pressure_exponent_spread").value
            figures = (*figures, reference, *((exponent,) if step else ()))
        fraction = min(fraction, 0.95 * (1 - voids))
        volumes = (1 - fraction - voids) / fraction
        trend = self.material.optional("areal_weight_exponent")
        if trend is not None and areal_weight is not None and not self._own_figure(form):
            weight = min(max(areal_weight, LIGHTEST), HEAVIEST)
            volumes *= (weight / REFERENCE_WEIGHT) ** -trend.value
            figures = (*figures, trend)
        for word in (*(("mat_backing",) if backing else ()), *self.hand):
            factor = self.figure(word)
            volumes *= factor.value
            figures = (*figures, factor)
        return min((1 - voids) / (1 + volumes), self.ceiling(form)), spread, figures

    def _own_figure(self, form: str) -> bool:
        """Whether the shop's table gives the fibre fraction and no trend: it holds for the cloth it was read of."""
        rows = self.material.rows_of("fibre_volume_fraction", form) or self.material.rows_of("fibre_volume_fraction")
        trends = self.material.rows_of("areal_weight_exponent")
        return rows[0].shop and not trends[0].shop

    def ceiling(self, form: str) -> float:
        """Fibre volume fraction that a form can't be packed beyond. [-]"""
        return CEILINGS.get(form, TIGHTEST)

    def shop_spread(self, form: str) -> tuple[float, tuple[Figure, ...]]:
        """How far shops and fabrics of one form differ, as a spread of ln take-up, with the figures behind it."""
        named = self.material.optional("spread_of_one_hand") if STYLES & set(self.hand) else None
        shops = named or self.material.optional("spread_between_shops", form) or self.figure("spread_between_shops")
        fabrics = self.material.optional("spread_between_fabrics", form)
        words = [self.figure(word) for word in self.hand]
        doubts = [DOUBT_OF_WORD * math.log(word.value) for word in words if word.kind == "assumed"]
        if fabrics is None:
            return math.hypot(shops.value, *doubts), (shops,)
        return math.hypot(shops.value, fabrics.value, *doubts), (shops, fabrics)

    def take_up(
        self,
        form: str,
        fibre_density: float,
        resin_density: float,
        fibre_fraction: float | None = None,
        resin_content: float | None = None,
        resin_content_figure: Figure | None = None,
        fabric: str = "",
        areal_weight: float | None = None,
        backing: bool = False,
        bleeds: bool = True,
    ) -> TakeUp:
        """Resin that a form takes up per mass of fibre, with the shop's habit where it is known.

        Args:
            form: One of the forms of reinforcement.
            fibre_density: [kg/m^3]
            resin_density: Cured. [kg/m^3]
            fibre_fraction: What a coupon of this shop showed; then only parts of the shop differ. [-]
            resin_content: The same, as resin mass over laminate mass. [-]
            resin_content_figure: The table's figure, where the cloth is bought with its resin in it.
            fabric: Its name: the shop may know this very one.
            areal_weight: Dry, of the ply; the reference of the tables if left out. [kg/m^2]
            backing: Whether it is mat stitched to a cloth.
            bleeds: Whether what it is bought with can bleed: not from a film at a core.

        Raises:
            RangeError: Fractions that leave no room for resin.
        """
        voids = self.figure("void_content")
        shop_spread, shops = self.shop_spread(form)
        parts = self.figure("spread_between_parts")
        figures: tuple[Figure, ...] = (voids, *shops, parts)
        v_v, pressure_spread, bled = voids.value, 0.0, 1.0
        learns: tuple[str, ...] = (self.name, form)
        if resin_content is None and resin_content_figure is not None:
            resin_content = resin_content_figure.value
            bought = self.material.optional("spread_as_bought")
            shop_spread = bought.value if bought is not None else shop_spread
            away = self.material.optional("bled_away")
            if bleeds:
                bled = 1 - away.value if away is not None else 1.0
                for word in self.hand:
                    bled *= self.figure(word).value
            used = (bought, away if bleeds else None, resin_content_figure)
            figures = (voids, *(figure for figure in used if figure is not None), parts)
            learns = (self.name + AS_BOUGHT, form)
        elif fibre_fraction is not None or resin_content is not None:
            shop_spread, learns = 0.0, ()
        if resin_content is not None:
            ratio, least = resin_content / (1 - resin_content) * bled, 0.0
            v_f = fibre_fraction_from_take_up(ratio, fibre_density, resin_density, v_v)
        else:
            if fibre_fraction is not None:
                v_f = fibre_fraction
            else:
                v_f, ln_spread, own = self.fibre_fraction(form, areal_weight, backing)
                # d ln r / d ln V_f = -(1 - V_v) / (1 - V_f - V_v)
                pressure_spread = ln_spread * (1 - v_v) / (1 - v_f - v_v)
                figures = (*own, *figures)
            if v_f >= 1 - v_v:
                raise RangeError(f"a fibre volume fraction of {v_f:g} with {v_v:g} of voids leaves no room for resin")
            ratio = resin_areal_weight(1.0, fibre_density, resin_density, v_f, v_v)
            packed = max(v_f, min(self.ceiling(form), 1 - v_v))
            least = resin_areal_weight(1.0, fibre_density, resin_density, packed, v_v) / ratio
        take_up = TakeUp(
            fibre_fraction=v_f,
            void_fraction=v_v,
            ratio=ratio,
            shop_spread=shop_spread,
            part_spread=parts.value,
            pressure_spread=pressure_spread,
            figures=figures,
            learns=learns,
            least=least,
        )
        return self._by_habit(take_up, fibre_density, resin_density, fabric)

    def film(self, face: str = "bag", fibre_areal_weight: float | None = None) -> FaceResin:
        """The resin film on a free face of the laminate.

        Args:
            face: "tool" where the mould is, "bag" on the other side.
            fibre_areal_weight: Dry fibre of the ply on that face; None where it is not known. [kg/m^2]

        Raises:
            RangeError: There is no such face.
        """
        if face not in FACES:
            raise RangeError(f'there is no face "{face}" of a laminate. Faces: {", ".join(FACES)}')
        printed = self.figure("surface_resin")
        held = 1.0 if fibre_areal_weight is None else film_share(fibre_areal_weight)
        spread = allow.deviation(allow.FILM)
        own = spread * math.sqrt(1 - allow.FILM_OF_SHOP)
        habit = self.habits.get(("film", self.name))
        if habit is not None:
            held, spread = held * math.exp(habit.shift), math.hypot(habit.spread, own)
        return FaceResin(printed.value * held, spread, (printed,), own, habit)

    def bond(self, core: Material) -> FaceResin:
        """The resin that bonds one covered face of a core.

        Returns:
            The bond with its spread; nothing where no table gives a bond for this core.
        """
        printed = core.optional("bond_resin")
        if printed is None:
            return FaceResin(0.0, allow.deviation(allow.BOND), ())  # a core may still soak
        share = self.figure("core_bond")
        spread, factor = allow.deviation(allow.BOND), 1.0
        habit = self.habits.get(("bond", self.name, core.name))
        if habit is not None:
            factor, spread = math.exp(habit.shift), habit.spread
        return FaceResin(printed.value * share.value * factor, spread, (printed, share), 0.0, habit)

    def _by_habit(self, take_up: TakeUp, fibre_density: float, resin_density: float, fabric: str) -> TakeUp:
        """The take-up with the narrowest habit that fits laid over it."""
        if not take_up.learns:
            return take_up
        root, form = take_up.learns
        for of in ((root, form, fabric), (root, form), (root,)):
            habit = self.habits.get(of)
            if habit is not None:
                ratio = take_up.ratio * math.exp(habit.shift)
                v_f = fibre_fraction_from_take_up(ratio, fibre_density, resin_density, take_up.void_fraction)
                least = min(take_up.least * take_up.ratio / ratio, 1.0)
                parts = habit.part_spread if habit.part_spread is not None else take_up.part_spread
                return replace(
                    take_up,
                    fibre_fraction=v_f,
                    ratio=ratio,
                    shop_spread=habit.spread,
                    part_spread=parts,
                    habit=habit,
                    least=least,
                )
        return take_up


def _height(altitude: float) -> str:
    return f"{altitude:.0f} m ({altitude / 0.3048:,.0f} ft)"


def film_share(areal_weight: float) -> float:
    """Share of the full film that a ply of this areal weight [kg/m^2] holds on its face. [-]"""
    return min(1.0, math.expm1(-areal_weight / FILM_RISES) / math.expm1(-FILM_FULL_AT / FILM_RISES))


def settle(
    material: Material, vacuum: float | None = None, altitude: float | None = None, hand: tuple[str, ...] = ()
) -> Process:
    """A process at the vacuum and altitude of the shop.

    Args:
        material: The process in the tables.
        vacuum: What the gauge reads, below the air outside; the process's own if None. [Pa]
        altitude: Of the shop; sea level if None. [m]
        hand: How the resin is worked, as the part file says; words that the process has no figure for are left out.

    Raises:
        VacuumError: The gauge reads more than the air at that altitude weighs, or the process has no bag.
    """
    bagged = material.word("bag") is not None
    hand = tuple(word for word in hand if material.optional(word) is not None)
    if not bagged:
        if vacuum is not None:
            raise VacuumError(
                f'process "{material.name}" has no bag, so it has no vacuum',
                'Leave vacuum out, or write process = "vacuum bag"',
            )
        return Process(material, None, hand=hand)
    air = pressure_at(altitude or 0.0)
    if vacuum is not None:
        if vacuum > air:
            where = f"at {_height(altitude)}" if altitude else "at sea level"
            raise VacuumError(
                f"a gauge can't read {pressure_words(vacuum, 'both')} {where}: the air there weighs "
                f"{pressure_words(air, 'both')}",
                f"Write what the gauge shows, {pressure_words(air, 'both')} or less; a gauge that shows more is set "
                "for another altitude or reads wrong",
            )
        return Process(material, vacuum, hand=hand)
    usual = material.figure("pressure").value
    share = usual / pressure_at(0.0)
    if altitude and usual > air * share:
        here = air * share
        note = (
            f"{material.name}: at {_height(altitude)} the same pump gives {pressure_words(here, 'both')} "
            f"instead of {pressure_words(usual, 'both')}"
        )
        return Process(material, here, (note,), hand=hand)
    return Process(material, usual, hand=hand)
