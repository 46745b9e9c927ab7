r"""The shop's hand, its films and its bonds: one posterior from all the parts that were weighed.

    mass_i = rest_i + sum_k resin_ik exp(h_k) + film_i (1 + f) + sum_c bond_ic (1 + b_c) + area_i a_T + e_i
    h_k    = root + form + fabric (+ step, of what was laid after it)
    e_i   ~ N(0, (t part_spread resin_i)^2 + own_i^2)

- What do all the parts say together?        `learn(pieces)`, a `Learnt`
- What does that say of one fabric's hand?   `Learnt.of`

The unknowns are shared by all parts of a kind: h by what is laid by one hand, f by all faces of a process, b_c by all
faces of a core, a_T by all copies of one part. A sandwich so teaches bond and not resin. Unknown beside them is t, how
much the shop's parts scatter against the published figure, and whether the hand changed at some time: both are settled
by the marginal likelihood. An entry that is more likely wrong than not has no say at all. The mass is linear in all but
h; it is linearised where the posterior peaks and solved again. The model is argued in docs/calibration-model.md.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Key = tuple[str, ...]

ROOT_SHARE, FORM_SHARE, FABRIC_SHARE = 0.60, 0.20, 0.20
"""How the published variance between shops divides: what a shop does in a process whatever it lays, what it does with
one form, and with one fabric. The project's choice; no source."""
BOND_SHARE = 0.5
"""Share of the variance of bond that all cores of a shop have in common. The project's choice; no source."""
WRONG = 0.03
"""Chance that an entry is simply wrong: another part, another unit, a misread scale. The project's choice."""
WRONG_SPREAD = 1.5
"""Spread of ln mass in a wrong entry: anything between a tenth and ten times. [-]"""
SCATTERS = (0.35, 0.5, 0.71, 1.0, 1.41, 2.0, 2.83)
"""What the scatter between parts may be against the published one; in its logarithm normal about 1. [-]"""
SCATTER_SPREAD = 0.7
STEP_CHANCE = 0.05
"""Chance that a shop's hand changed somewhere in its record. The project's choice; no source."""
STEP_SPREAD = 0.25
"""Size of such a change, as a standard deviation of ln take-up. [-]"""
AREAS = 1000
"""Of how many titles, the newest, what is known of the area is kept."""
_ROUNDS = 12


@dataclass(frozen=True, slots=True)
class Resin:
    """Resin of the plies of one fabric in one part.

    Attributes:
        root: The process, or it with its resin in the cloth.
        form: Of the reinforcement.
        fabric: Its name.
        mass: By published figures. [kg]
        shop_spread: Published, of ln take-up between shops. [-]
        cloth_spread: Of what a maker's rolls have in common, as a spread of ln take-up. [-]
        lot_spread: Of the lot, which the parts of the record may all be of, and the next part may not. [-]
    """

    root: str
    form: str
    fabric: str
    mass: float
    shop_spread: float
    cloth_spread: float
    lot_spread: float = 0.0

    @property
    def keys(self) -> tuple[Key, Key, Key]:
        """Of the process, the form and the fabric."""
        return (self.root,), (self.root, self.form), (self.root, self.form, self.fabric)

    @property
    def lot(self) -> Key:
        """Of the lot that the record's parts of the fabric are of."""
        return "lot", *self.keys[2]


@dataclass(frozen=True, slots=True)
class Face:
    """Resin on faces that a shop leaves in its own way: films of a process, or the bond of one core.

    Attributes:
        key: ("film", process) or ("bond", process, core).
        mass: By published figures. [kg]
        spread: Of what a shop keeps from part to part, over the mean. [-]
    """

    key: Key
    mass: float
    spread: float


@dataclass(frozen=True, slots=True)
class Piece:
    """One weighed part.

    Attributes:
        number: Of its entry: the order of noting.
        title: Of the part and its drawn area; copies of it share their area's error.
        mass: On the scale. [kg]
        rest: All but the resin of the plies and on the faces. [kg]
        resins: Of the plies.
        faces: Films and bonds.
        part_spread: Published, of ln take-up between parts of one shop. [-]
        own: Standard deviation of what is this piece's own: edge, finish, its films, the scale. [kg]
        area: Standard deviation of the mass by the area's error. [kg]
    """

    number: int
    title: str
    mass: float
    rest: float
    resins: tuple[Resin, ...]
    faces: tuple[Face, ...] = ()
    part_spread: float = 0.1
    own: float = 0.0
    area: float = 0.0

    @property
    def expected(self) -> float:
        """By published figures. [kg]"""
        return self.rest + sum(r.mass for r in self.resins) + sum(f.mass for f in self.faces)


@dataclass(frozen=True, slots=True)
class Start:
    """What others' records say of a form, as a normal of ln factor. [-]

    Attributes:
        mean: Of it.
        spread: Its standard deviation.
        pooled: Whether it is what many shops say of any other, and stands for the published prior; else it is the
            likelihood of one shop's record.
    """

    mean: float
    spread: float
    pooled: bool = False


@dataclass(frozen=True, slots=True)
class Step:
    """A change of the shop's hand.

    Attributes:
        root: Of which process.
        number: First entry after it.
        size: Change of ln take-up. [-]
        error: Its standard deviation. [-]
        chance: That it is one. [-]
    """

    root: str
    number: int
    size: float
    error: float
    chance: float


@dataclass(frozen=True)
class Learnt:
    """What all parts taught.

    Attributes:
        keys: Of the unknowns: (root,), (root, form), (root, form, fabric), ("film", process), ("bond", process),
            ("bond", process, core), ("lot", root, form, fabric), ("step", root).
        mean: Of each: ln factor of a hand, or factor less one on a face.
        covariance: Of them.
        scatter: Spread between parts over the published one. [-]
        good: Chance of every piece that its entry is right. [-]
        expected: Of every piece, with what was learnt from all. [kg]
        step: A change of the hand, if there is one.
        areas: By title, how the error of its area hangs on the unknowns (the loads of its standard normal variable),
            and its own standard deviation where these are known. A part made again strays by luck, not by its area.
    """

    keys: tuple[Key, ...]
    mean: Floats
    covariance: Floats
    scatter: float
    good: Floats
    expected: Floats
    step: Step | None = None
    loads: Floats = field(default_factory=lambda: np.zeros((0, 0)), repr=False)
    areas: Mapping[str, tuple[Floats, float]] = field(default_factory=dict, repr=False)

    def of(self, *keys: Key) -> tuple[float, float, tuple[float, ...]]:
        """Mean, standard deviation and loads of a sum of unknowns; those that no part speaks of add nothing."""
        pick = np.zeros(len(self.keys))
        for key in keys:
            if key in self.keys:
                pick[self.keys.index(key)] += 1.0
        loads = pick @ self.loads
        return float(pick @ self.mean), math.sqrt(float(loads @ loads)), tuple(float(v) for v in loads)


class _System:
    """All pieces as arrays: one row a piece, one column an unknown; one row of `select` a fabric in a piece."""

    def __init__(
        self, pieces: Sequence[Piece], keys: list[Key], prior: Floats, variance: Floats, step: tuple[str, int] | None
    ) -> None:
        self.pieces, self.keys, self.prior, self.variance = pieces, keys, prior, variance
        place = {key: n for n, key in enumerate(keys)}
        self.mass = np.array([p.mass for p in pieces])
        self.rest = np.array([p.expected - sum(r.mass for r in p.resins) for p in pieces])
        self.own = np.array([p.own for p in pieces])
        self.area = np.array([p.area for p in pieces])
        self.part = np.array([p.part_spread for p in pieces])
        titles = {title: n for n, title in enumerate(dict.fromkeys(p.title for p in pieces))}
        self.title = np.array([titles[p.title] for p in pieces], dtype=np.int64)
        self.titles, self.named = len(titles), list(titles)
        self.faces = np.zeros((len(pieces), len(keys)))
        laid = [(n, piece, resin) for n, piece in enumerate(pieces) for resin in piece.resins]
        self.row = np.array([n for n, _, _ in laid], dtype=np.int64)
        self.resin = np.array([resin.mass for _, _, resin in laid])
        self.select = np.zeros((len(laid), len(keys)))
        for number, (_, piece, resin) in enumerate(laid):
            self.select[number, [place[key] for key in (*resin.keys, resin.lot) if key in place]] = 1.0
            if step is not None and resin.root == step[0] and piece.number >= step[1]:
                self.select[number, place["step", step[0]]] = 1.0
        for number, piece in enumerate(pieces):
            for face in piece.faces:
                for key in (face.key, face.key[:2]) if face.key[0] == "bond" else (face.key,):
                    self.faces[number, place[key]] += face.mass

    def at(self, x: Floats) -> tuple[Floats, Floats, Floats]:
        """Expected masses, their slopes, and the mass of the plies' resin, at values of the unknowns."""
        resin = self.resin * np.exp(np.minimum(self.select @ x, 2.0))
        plies: Floats = np.bincount(self.row, resin, len(self.pieces)).astype(np.float64)
        slope = self.faces + _summed(self.row, resin[:, None] * self.select, len(self.pieces))
        return self.rest + plies + self.faces @ x, slope, plies

    def solve(self, scatter: float, right: NDArray[np.bool_]) -> _Solved:
        """The posterior with the entries that are taken for right."""
        x = self.prior.copy()
        precision = np.diag(1.0 / self.variance)
        noise = covariance = left = np.zeros(0)
        for _ in range(_ROUNDS):
            expected, slope, plies = self.at(x)
            noise = (scatter * self.part * plies) ** 2 + self.own**2
            weight = right / noise
            left = self.mass - expected
            shared = np.bincount(self.title, weight * self.area**2, self.titles)
            towards = _summed(self.title, (weight * self.area)[:, None] * slope, self.titles)
            off = left + slope @ (x - self.prior)
            pulls = np.bincount(self.title, weight * self.area * off, self.titles)
            total = precision + (slope * weight[:, None]).T @ slope - (towards.T / (1 + shared)) @ towards
            push = slope.T @ (weight * off) - towards.T @ (pulls / (1 + shared))
            # the luck of a part grows with its resin: what that adds to the slope of the likelihood
            grows = (slope - self.faces) * (right * (scatter * self.part) ** 2 * plies / noise)[:, None]
            known = 2.0 * grows.T @ grows
            total = total + known
            push = push + grows.T @ np.clip(left**2 / noise - 1, -1.0, 3.0) + known @ (x - self.prior)
            covariance = np.linalg.inv(total)
            new = x + np.clip(self.prior + covariance @ push - x, -0.5, 0.5)
            done = bool(np.max(np.abs(new - x), initial=0.0) < 1e-5)
            x = new
            if done:
                break
        expected, slope, plies = self.at(x)
        left = self.mass - expected
        weight = right / noise
        shared = np.bincount(self.title, weight * self.area**2, self.titles)
        pulls = np.bincount(self.title, weight * self.area * left, self.titles)
        fits = float(weight @ left**2) - float(np.sum(pulls**2 / (1 + shared)))
        fits += float(np.sum((x - self.prior) ** 2 / self.variance))
        volume = float(np.sum(np.log(noise[right]))) + float(np.sum(np.log1p(shared)))
        volume += float(np.sum(np.log(self.variance))) - float(np.linalg.slogdet(covariance)[1])
        worth = -0.5 * (fits + volume) - 0.5 * math.log(2 * math.pi) * int(right.sum())
        worth += math.log(1 - WRONG) * int(right.sum())
        wrong = self.wrong(expected)
        worth += float(np.sum(np.log(WRONG * wrong[~right])))
        return _Solved(
            mean=x,
            covariance=covariance,
            expected=expected,
            slope=slope,
            noise=noise + self.area**2,
            left=left,
            right=right,
            worth=worth,
        )

    def areas(self, solved: _Solved, loads: Floats) -> dict[str, tuple[Floats, float]]:
        """What is known of the areas' errors, of the newest titles."""
        weight = solved.right / (solved.noise - self.area**2)
        known = 1 + np.bincount(self.title, weight * self.area**2, self.titles)
        towards = _summed(self.title, (weight * self.area)[:, None] * solved.slope, self.titles)
        newest = range(max(0, self.titles - AREAS), self.titles)
        hang = -(towards[newest.start :] / known[newest.start :, None]) @ loads
        return {self.named[n]: (hang[n - newest.start], 1 / math.sqrt(known[n])) for n in newest}

    def wrong(self, expected: Floats) -> Floats:
        """Density of each weight if its entry is wrong. [1/kg]"""
        off = np.log(self.mass / np.maximum(expected, 1e-9)) / WRONG_SPREAD
        density: Floats = np.exp(-0.5 * off * off) / (math.sqrt(2 * math.pi) * WRONG_SPREAD * self.mass)
        return density

    def chances(self, solved: _Solved) -> Floats:
        """Chance that each entry is right, by what all the others say."""
        reach = np.einsum("ij,jk,ik->i", solved.slope, solved.covariance, solved.slope)
        free = np.maximum(1 - reach / solved.noise, 0.02)
        left = np.where(solved.right, solved.left / free, solved.left)
        variance = np.where(solved.right, solved.noise / free, solved.noise + reach)
        good = (1 - WRONG) * np.exp(-0.5 * left**2 / variance) / np.sqrt(2 * np.pi * variance)
        chance: Floats = good / (good + WRONG * self.wrong(solved.expected))
        return chance

    def settle(self, scatter: float) -> _Solved:
        """The posterior with every entry in that is more likely right than wrong, the worst left out first."""
        none = np.zeros(len(self.pieces), dtype=bool)
        start = self.solve(scatter, none)
        right = self.chances(start) >= 0.5
        solved = self.solve(scatter, right)
        for _ in range(2 * len(self.pieces) + 4 if len(self.pieces) < 40 else 12):
            good = self.chances(solved)
            wants = good >= 0.5
            if np.array_equal(wants, right):
                break
            moved = right.copy()
            back = np.flatnonzero(wants & ~right)
            if len(back):
                moved[back] = True
            else:
                leave = np.flatnonzero(~wants & right)
                worst = np.argsort(good[leave])[: max(1, len(leave) // 4)]
                moved[leave[worst]] = False
            trial = self.solve(scatter, moved)
            if trial.worth < solved.worth - 1e-9:
                break
            right, solved = moved, trial
        return solved


def _summed(row: NDArray[np.int64], values: Floats, count: int) -> Floats:
    """Rows of values added up by their number, column by column: quicker than adding them one by one."""
    out: Floats = np.empty((count, values.shape[1]))
    for number, column in enumerate(values.T):
        out[:, number] = np.bincount(row, column, count)
    return out


@dataclass
class _Solved:
    mean: Floats
    covariance: Floats
    expected: Floats
    slope: Floats
    noise: Floats
    left: Floats
    right: NDArray[np.bool_]
    worth: float


def learn(pieces: Sequence[Piece], starts: Mapping[Key, tuple[Start, float]] | None = None) -> Learnt:
    """The posterior of a shop's hand, films and bonds.

    Args:
        pieces: Weighed parts in the order of noting.
        starts: By (root, form): what another shop's record says, and the published spread between shops.
    """
    starts = starts or {}
    keys, prior, variance = _unknowns(pieces, starts)
    plain = _with_starts(keys, prior, variance, starts)
    system = _System(pieces, keys, *plain, None)
    scatters = list(SCATTERS) if pieces else [1.0]
    best, solved = _best(system, scatters)
    step = _step(system, pieces, best, solved[scatters.index(best)])
    if step is not None:
        system = _stepped(system, step.root, step.number)
        keys = system.keys
        best, solved = _best(system, scatters)
    shares = _shares(scatters, solved)
    mean = np.sum([w * s.mean for w, s in zip(shares, solved, strict=True)], axis=0)
    covariance = np.sum(
        [w * (s.covariance + np.outer(s.mean - mean, s.mean - mean)) for w, s in zip(shares, solved, strict=True)],
        axis=0,
    )
    scatter = math.sqrt(float(np.sum([w * t * t for w, t in zip(shares, scatters, strict=True)])))
    top = solved[int(np.argmax(shares))]
    if step is not None:
        place = keys.index(("step", step.root))
        step = replace(step, size=float(mean[place]), error=math.sqrt(float(covariance[place, place])))
    loads = np.linalg.cholesky(covariance + 1e-14 * np.eye(len(keys))) if keys else np.zeros((0, 0))
    expected = system.at(mean)[0] if len(pieces) else np.zeros(0)
    good = system.chances(top) if len(pieces) else np.zeros(0)
    return Learnt(
        keys=tuple(keys),
        mean=mean,
        covariance=covariance,
        scatter=scatter,
        good=good,
        expected=expected,
        step=step,
        loads=loads,
        areas=system.areas(top, loads) if len(pieces) else {},
    )


def _unknowns(
    pieces: Sequence[Piece], starts: Mapping[Key, tuple[Start, float]]
) -> tuple[list[Key], list[float], list[float]]:
    found: dict[Key, tuple[float, float]] = {}

    def hand(root: str, form: str, shop: float) -> None:
        for key, share in (((root,), ROOT_SHARE), ((root, form), FORM_SHARE)):
            spread = share * shop**2
            found.setdefault(key, (-0.5 * spread, spread))

    for (root, form), (_, shop) in starts.items():
        hand(root, form, shop)
    for piece in pieces:
        for resin in piece.resins:
            hand(resin.root, resin.form, resin.shop_spread)
            spread = FABRIC_SHARE * resin.shop_spread**2 + resin.cloth_spread**2
            found.setdefault(resin.keys[2], (-0.5 * spread, spread))
            if resin.lot_spread:
                found.setdefault(resin.lot, (0.0, resin.lot_spread**2))
        for face in piece.faces:
            if face.key[0] == "bond":
                found.setdefault(face.key[:2], (0.0, BOND_SHARE * face.spread**2))
                found.setdefault(face.key, (0.0, (1 - BOND_SHARE) * face.spread**2))
            else:
                found.setdefault(face.key, (0.0, face.spread**2))
    return list(found), [mean for mean, _ in found.values()], [max(v, 1e-12) for _, v in found.values()]


def _with_starts(
    keys: list[Key], prior: list[float], variance: list[float], starts: Mapping[Key, tuple[Start, float]]
) -> tuple[Floats, Floats]:
    """The prior; others' word on a form is laid on the process and the form in proportion to their variance."""
    mean, spread = np.array(prior), np.array(variance)
    _pooled(keys, mean, spread, {key: start for key, (start, _) in starts.items() if start.pooled})
    for (root, form), (start, _) in starts.items():
        if start.pooled:
            continue
        one, two = keys.index((root,)), keys.index((root, form))
        total = spread[one] + spread[two]
        gain = total / (total + start.spread**2)
        off = start.mean - mean[one] - mean[two]
        for place in (one, two):
            share = spread[place] / total
            mean[place] += gain * share * off
        for place in (one, two):
            spread[place] *= 1 - gain * spread[place] / total
    return mean, spread


def _pooled(keys: list[Key], mean: Floats, spread: Floats, starts: Mapping[Key, Start]) -> None:
    """What many shops say of the forms of a process, for the published prior; what forms share is the process's."""
    for root in dict.fromkeys(root for root, _ in starts):
        said = {form: start for (of, form), start in starts.items() if of == root}
        one = keys.index((root,))
        share = spread[one] / (spread[one] + spread[keys.index((root, next(iter(said))))])
        least = min(start.spread**2 for start in said.values())
        weight = np.array([start.spread**-2 for start in said.values()])
        off = [start.mean - mean[one] - mean[keys.index((root, form))] for form, start in said.items()]
        shift = share * float(weight @ np.array(off)) / float(weight.sum())
        spread[one] = share * least
        for (form, start), moved in zip(said.items(), off, strict=True):
            two = keys.index((root, form))
            mean[two] += moved - shift
            spread[two] = start.spread**2 - spread[one]
        mean[one] += shift


def _best(system: _System, scatters: Sequence[float]) -> tuple[float, list[_Solved]]:
    solved = [system.settle(scatter) for scatter in scatters]
    shares = _shares(scatters, solved)
    return scatters[int(np.argmax(shares))], solved


def _shares(scatters: Sequence[float], solved: Sequence[_Solved]) -> Floats:
    logs = np.array(
        [s.worth - 0.5 * (math.log(t) / SCATTER_SPREAD) ** 2 for s, t in zip(solved, scatters, strict=True)]
    )
    shares = np.exp(logs - logs.max())
    total: Floats = shares / shares.sum()
    return total


def _stepped(system: _System, root: str, number: int) -> _System:
    key = ("step", root)
    return _System(
        system.pieces,
        [*system.keys, key],
        np.append(system.prior, 0.0),
        np.append(system.variance, STEP_SPREAD**2),
        (root, number),
    )


def _step(system: _System, pieces: Sequence[Piece], scatter: float, top: _Solved) -> Step | None:
    """The change of hand that is more likely than none, if one is; two parts must stand on either side of it."""
    found: Step | None = None
    for root in dict.fromkeys(r.root for piece in pieces for r in piece.resins):
        tried = _likely_steps(system, top, root)
        if not tried:
            continue
        settled = {}
        for number in tried:
            stepped = _stepped(system, root, number)
            settled[number] = max(
                (stepped.settle(t) for t in dict.fromkeys((scatter, min(scatter, 1.0)))), key=lambda s: s.worth
            )
        worths = np.array([one.worth for one in settled.values()])
        best = float(worths.max())
        places = sum(any(r.root == root for r in piece.resins) for piece in pieces) - 3
        weight = math.log(STEP_CHANCE / (1 - STEP_CHANCE)) + best - top.worth
        weight += math.log(float(np.sum(np.exp(worths - best))) / max(places, len(tried)))
        chance = 1 / (1 + math.exp(-min(max(weight, -50.0), 50.0)))
        if chance > 0.5 and (found is None or chance > found.chance):
            number = list(settled)[int(np.argmax(worths))]
            found = Step(root, number, 0.0, 0.0, chance)
    return found


def _likely_steps(system: _System, solved: _Solved, root: str) -> list[int]:
    """First entries after a change, the three that the parts speak for most; none where chance would do as well.

    What is left of each part, entries taken for wrong among them, is compared before and after: a quick look that
    decides only where the posterior is asked.
    """
    at = [n for n, piece in enumerate(system.pieces) if any(r.root == root for r in piece.resins)]
    if len(at) < 5:
        return []
    plies = np.array([sum(r.mass for r in system.pieces[n].resins) for n in at])
    off = np.clip(solved.left[at] / plies, -0.7, 0.7)
    weight = plies**2 / solved.noise[at]
    first = np.arange(2, len(at) - 1)
    heavy, pulled = np.cumsum(weight), np.cumsum(weight * off)
    before, after = heavy[first - 1], heavy[-1] - heavy[first - 1]
    apart = (pulled[-1] - pulled[first - 1]) / after - pulled[first - 1] / before
    size = np.abs(apart) / np.sqrt(1 / before + 1 / after)
    most = np.argsort(-size, kind="stable")[:3]
    return [system.pieces[at[n]].number for n in first[most[size[most] > 1.8]].tolist()]


def value_of_more(variance: float, noises: Sequence[float]) -> list[float]:
    """Variance of h left after one, two, ... more parts of these spreads: the conjugate rule, no wrong entries. [-]"""
    left, found = variance, []
    for noise in noises:
        left = 1.0 / (1.0 / left + 1.0 / noise**2)
        found.append(left)
    return found
