r"""Fit the resin model to the published laminates and write its figures into materials/processes.csv.

Run it from anywhere: python docs/fit_resin.py

The rows are tests/published/measured_laminates.csv: facts with their source, what kind of figure each is (burn-off,
formula, thickness, weighed, rule, ...) and its own uncertainty. The model, for the resin volume per fibre volume q of
a ply of areal weight w in a process P and a form F, worked by hand H, in laboratory L, of fabric K, in plate I:

    ln q = m_P + a_F + g_PF - (s + s_P) ln(w / 300 g/m^2) - exponent ln(p / p0) dln q/dln V_f + h_H + u_LP + u_K + u_I

with a film on each face, bond at a core and, where a prepreg's resin content is known, what bleeds of it. Every term
has a normal prior, which is stated below; what no row speaks of keeps it. The variances of laboratories, fabrics and
plates are those of the greatest marginal likelihood under priors of their own. The model is not linear in film and
thickness; it is linearised where the posterior peaks and solved again until that rests. Rules of mixing (100:70, 1:1)
enter as resin mixed: in the part, less the pot and the brush.

- Read the rows                      `read_rows`
- Fit them                           `fit(rows)`, a `Fitted`
- The figures as rows of a table     `Fitted.figures()`
- Write materials/processes.csv      `main`
"""

from __future__ import annotations

import csv
import math
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small matrices: more threads only wait for each other

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from layup.laminate.process import CEILINGS, HEAVIEST, LIGHTEST, REFERENCE_WEIGHT, film_share
from layup.materials import Library, load_library
from layup.units import parse

Floats = NDArray[np.float64]
HERE = Path(__file__).parent
ROWS = HERE.parent / "tests" / "published" / "measured_laminates.csv"
TABLE = HERE.parent / "materials" / "processes.csv"
SOURCE = "resin-fit"
PROCESSES = ("wet", "vacuum bag", "infusion", "prepreg")
FORMS = ("cloth", "roving", "unidirectional", "biaxial", "spread tow", "mat", "veil")
VOIDS = {"wet": 0.02, "vacuum bag": 0.025, "infusion": 0.01, "prepreg": 0.015}
BAG = {"vacuum bag": 25.0, "infusion": 27.0, "prepreg": 25.0}
"""Pressure the figures hold for. [inHg]"""
INHG = 3386.38864
OUNCE = 0.028349523125
E_GLASS = 2570.0
"""Density of E-glass as published, 2.54 to 2.60 g/cm^3, mean of the rows in fibres.csv; the fitted one stands first
there. [kg/m^3]"""
HAND_PRESSURE = 2000.0
"""What a squeegee or a roller presses with; assumed. [Pa]"""

# Priors: mean and standard deviation. Assumed, and wide where nothing speaks.
PRIOR: dict[str, tuple[float, float]] = {
    "m wet": (math.log(1.55), 0.30),
    "m vacuum bag": (math.log(1.00), 0.30),
    "m infusion": (math.log(0.90), 0.30),
    "m prepreg": (math.log(0.85), 0.20),
    "a roving": (0.0, 0.10),  # a heavy plain cloth by another name
    "a unidirectional": (-0.05, 0.20),
    "a biaxial": (0.0, 0.20),
    "a spread tow": (-0.05, 0.20),
    "a mat": (1.10, 0.40),
    "a veil": (2.0, 0.50),
    "backing": (-0.15, 0.20),  # of mat stitched to a cloth, on a mat alone: it beds into the cloth
    **{f"g {p}, {f}": (0.0, 0.12) for p in PROCESSES for f in FORMS[1:]},
    "s": (0.10, 0.10),
    **{f"s {p}": (0.0, 0.07) for p in PROCESSES},
    "exponent": (0.06, 0.03),  # 0.046 and 0.059 to 0.071 of published curves, no named woven cloth among them
    "squeegeed": (-0.15, 0.15),
    "rolled": (0.15, 0.15),
    "film wet": (math.log(45e-3), 0.5),
    "film vacuum bag": (math.log(37e-3), 0.5),
    "film infusion": (math.log(20e-3), 0.6),
    "bled": (math.log(0.92), 0.08),
    "rule": (0.0, 0.30),  # a rule of thumb or a design figure against a measured laminate
    "mixed": (0.0, 0.30),  # the pot's and the brush's loss against 12 %
    "E-glass": (0.0, 0.02),  # of ln density about E_GLASS
    "burn-off": (0.0, 0.02),  # printed fibre fractions against the thickness of the same plates
    "bond": (0.0, 0.40),  # on the tables' bond resin of a core, all wet processes alike
    "bond vacuum bag": (math.log(0.8), 0.20),
    "bond wet": (0.0, 0.20),
    "bond infusion": (math.log(1.2), 0.20),
}
RULES = ("rule", "design", "stated", "mixed")
"""Kinds of figures that are no measurement."""
HAND_SPREAD = 0.15
"""Of ln q between hands, where a source does not say which. Assumed. [-]"""
CLOTH_SPREAD = 0.024
"""A cloth's areal weight about its nominal one, half of five per cent in ten rolls of a hundred. [-]"""
SPREADS = {  # centre of a log-normal prior of each standard deviation of ln q, its own spread 0.4
    "laboratory wet": 0.18, "laboratory vacuum bag": 0.15, "laboratory infusion": 0.10, "laboratory prepreg": 0.08,
    "fabric": 0.10, "plate wet": 0.10, "plate vacuum bag": 0.09, "plate infusion": 0.06, "plate prepreg": 0.04,
}  # fmt: skip
SPREAD_OF_SPREADS = 0.4


@dataclass(frozen=True)
class Ply:
    """Plies of one fabric, or a core.

    Attributes:
        count: How many; 0 for a core.
        fibre: Its name.
        form: Of the reinforcement or the core.
        weight: Dry, of one ply, or of the core. [kg/m^2]
        density: Of the fibre. [kg/m^3]
        mat: Share of mat by weight. [-]
        content: Resin content as bought; None for a dry cloth. [-]
        bond: Of a core: bond resin on both faces by the tables. [kg/m^2]
        thickness: Of a core. [m]
    """

    count: int
    fibre: str
    form: str
    weight: float
    density: float
    mat: float = 0.0
    content: float | None = None
    bond: float = 0.0
    thickness: float = 0.0

    @cached_property
    def key(self) -> str:
        """Which fabric it is."""
        return f"{self.fibre} {self.form} {self.weight:g} {self.mat:g}"


@dataclass(frozen=True)
class Row:
    """One published figure; the columns of the table by their names."""

    name: str
    laboratory: str
    what: str
    quantity: str
    value: float
    low: float
    high: float
    unit: str
    kind: str
    own_spread: float
    process: str
    vacuum: str
    hand: str
    resin: str
    plies: str
    area: float
    used: str
    why: str
    source: str
    address: str

    @property
    def plate(self) -> str:
        """Rows of one plate share the name before the colon."""
        return self.name.partition(":")[0]


def read_rows(path: Path = ROWS) -> list[Row]:
    """The published rows in the order of the table."""
    with path.open(encoding="utf-8", newline="") as file:
        return [
            Row(
                r["row"], r["laboratory"], r["what"], r["quantity"], float(r["printed"]), float(r["low"]),
                float(r["high"]), r["unit"], r["kind"], float(r["own_spread"] or 0.0), r["process"], r["vacuum"],
                r["hand"], r["resin"], r["plies"], float(r["area"] or 1.0), r["used"], r["why"], r["source"],
                r["address"],
            )
            for r in csv.DictReader(file)
        ]  # fmt: skip


def read_plies(text: str, library: Library | None = None) -> list[Ply]:
    """`2 x E-glass biaxial 857 with 0.30 mat; core PVC foam 60 of 6 mm; 1 x carbon plain 200` as plies.

    A fabric is one of the library, or FIBRE FORM GRAMS-PER-M2, with its share of mat or its resin content behind it.
    """
    library = library or load_library()
    found = []
    for piece in text.split(";"):
        words = piece.strip()
        if words.startswith("core "):
            name, _, thickness = words.removeprefix("core ").rpartition(" of ")
            core = library.get("core", name)
            bond = core.optional("bond_resin")
            thick = parse(thickness, "length")
            found.append(
                Ply(0, name, core.word("form") or "core", core.figure("density").value * thick, 1.0,
                    bond=2 * bond.value if bond else 0.0, thickness=thick)
            )  # fmt: skip
            continue
        count, _, name = words.partition(" x ")
        cloth = library.find("fabric", name)
        if cloth is not None:
            fibre = cloth.word("fibre") or ""
            mat, content = cloth.optional("mat_share"), cloth.optional("resin_content")
            density = library.get("fibre", fibre).figure("density").value
            found.append(
                Ply(int(count), name, cloth.word("form") or "cloth", cloth.figure("areal_weight").value, density,
                    mat.value if mat else 0.0, content.value if content else None)
            )  # fmt: skip
            continue
        spec, _, bought = name.partition(", resin ")
        spec, _, share = spec.partition(" with ")
        form = next(f for f in sorted(FORMS, key=len, reverse=True) if f" {f} " in spec)
        fibre, _, grams = spec.partition(f" {form} ")
        density = library.get("fibre", full_fibre(fibre)).figure("density").value
        mat_share = float(share.removesuffix(" mat")) if share else 0.0
        found.append(
            Ply(int(count), fibre, form, float(grams) / 1e3, density, mat_share, float(bought) if bought else None)
        )
    return found


def full_fibre(name: str) -> str:
    """A fibre as the library names it."""
    return "carbon, standard modulus" if name == "carbon" else name


# The model of one figure


@dataclass
class Point:
    """What the model is asked at: values of all its terms by name, each a number or, at several points, an array."""

    value: dict[str, float | Floats]

    def __call__(self, name: str) -> float | Floats:
        return self.value.get(name, 0.0)


def volumes(x: Point, row: Row, ply: Ply, form: str, weight: float | Floats, effect: float | Floats) -> float | Floats:
    """Resin volume per fibre volume of a ply of one form. [-]"""
    process = row.process
    log = x(f"m {process}") + (x(f"a {form}") + x(f"g {process}, {form}") if form != "cloth" else 0.0)
    voids = VOIDS[process]
    if process in ("vacuum bag", "infusion") and row.vacuum:
        fraction = (1 - voids) / (1 + np.exp(log))
        pressure = parse(row.vacuum, "pressure")
        step = math.log((pressure + HAND_PRESSURE) / (BAG[process] * INHG + HAND_PRESSURE))
        fraction *= np.exp(x("exponent") * step)
        log = np.log((1 - fraction - voids) / fraction)
    weight = np.minimum(np.maximum(weight, LIGHTEST), HEAVIEST)
    log -= (x("s") + x(f"s {process}")) * np.log(weight / REFERENCE_WEIGHT)
    log += x(row.hand) if row.hand else x(f"hand {row.laboratory}, {process}")
    if row.kind in RULES:
        log += x("rule")
    log += effect
    top = CEILINGS[form]
    return np.maximum(np.exp(log), (1 - voids) / top - 1)


def model(x: Point, row: Row, plies: Sequence[Ply], resin_density: float) -> float | Floats:
    """The model's value of one published figure, in the figure's unit."""
    process = row.process
    voids = VOIDS[process]
    shared = x(f"laboratory {row.laboratory}, {process}") + x(f"plate {row.plate}")
    fibre: float | Floats = 0.0
    resin = volume = solid = bond = film = fibre
    core = thick = 0.0
    for ply in plies:
        if ply.count == 0:
            core += ply.weight
            thick += ply.thickness
            if process != "prepreg":
                bond += ply.bond * np.exp(x("bond") + x(f"bond {process}"))
            continue
        effect = shared + x(f"fabric {ply.key}")
        w = ply.weight * np.exp(x(f"cloth {ply.key}"))
        dense = E_GLASS * np.exp(x("E-glass")) if "glass" in ply.fibre and "S-" not in ply.fibre else ply.density
        if process == "prepreg" and ply.content is not None:
            ratio = ply.content / (1 - ply.content) * np.exp(x("bled") + effect)
        else:
            q = volumes(x, row, ply, ply.form, w, effect)
            if ply.mat:
                q = (1 - ply.mat) * q + ply.mat * volumes(x, row, ply, "mat", w, effect + x("backing"))
            ratio = q * resin_density / dense
        fibre += ply.count * w
        resin += ply.count * w * ratio
        solid += ply.count * w / dense
        volume += ply.count * w * (1 / dense + ratio / resin_density) / (1 - voids)
    if process != "prepreg":
        faces = [ply.weight for ply in plies if ply.count]
        film = np.exp(x(f"film {process}")) * (film_share(faces[0]) + film_share(faces[-1]))
    quantity = row.quantity
    if quantity == "fibre volume fraction":
        return solid / volume * (np.exp(x("burn-off")) if row.kind == "burn-off" else 1.0)
    if quantity == "thickness":
        return (volume + film / resin_density + thick) * 1e3
    if quantity == "thickness of the plies":
        return volume * 1e3
    if quantity == "fibre weight fraction":
        return fibre / (fibre + resin)
    if quantity == "areal weight, plies alone":
        return fibre + resin
    if quantity == "resin mixed over fibre":
        return (resin + film) * 1.12 * np.exp(x("mixed")) / fibre
    if quantity == "density":
        v = solid / volume
        return (v * plies[0].density + (1 - v - voids) * resin_density) / 1e3
    areal = fibre + resin + film + core + bond
    if quantity == "areal weight":
        return areal
    if quantity == "mass":
        return areal * row.area / OUNCE
    raise ValueError(f"{row.name}: there is no quantity {quantity}")


# The fit


@dataclass
class Fitted:
    """Posterior of the model.

    Attributes:
        names: Of its terms.
        mean: Of each.
        covariance: Of them.
        spreads: Standard deviations of laboratories, fabrics and plates. [-]
        counts: Rows that speak, by process and form.
        strays: By row, the standard deviation of ln figure that laboratory, hand, fabric, plate, roll and the figure's
            own error leave where all means are known exactly. [-]
    """

    names: list[str]
    mean: Floats
    covariance: Floats
    spreads: dict[str, float]
    counts: dict[tuple[str, str], int] = field(default_factory=dict)
    strays: dict[str, float] = field(default_factory=dict)

    def __getitem__(self, name: str) -> float:
        return float(self.mean[self.names.index(name)])

    def sum_of(self, *names: str) -> tuple[float, float]:
        """Mean and standard deviation of a sum of terms."""
        pick = np.zeros(len(self.names))
        for name in names:
            pick[self.names.index(name)] += 1
        return float(pick @ self.mean), math.sqrt(float(pick @ self.covariance @ pick))

    @property
    def e_glass(self) -> float:
        """Density of E-glass by the published rows and the plates. [kg/m^3]"""
        return E_GLASS * math.exp(self["E-glass"])

    def ratio(self, process: str, form: str) -> tuple[float, float]:
        """Mean of ln q at 300 g/m^2 in a process and form, and how uncertain it is."""
        terms = [f"m {process}"]
        if form != "cloth":
            terms += [f"a {form}", f"g {process}, {form}"]
        return self.sum_of(*terms)

    def figures(self) -> dict[tuple[str, str], tuple[str, str, str]]:
        """By process and property: the value as printed, its kind, and what to know."""
        found: dict[tuple[str, str], tuple[str, str, str]] = {}
        within = self.spreads["fabric"]
        for process in PROCESSES:
            shops = self.spreads[f"laboratory {process}"]
            hand = 0.0
            if process == "wet":
                hand = HAND_SPREAD
            between = math.hypot(shops, hand)
            part = self.spreads[f"plate {process}"]
            for form in FORMS:
                log, off = self.ratio(process, form)
                total = off**2 + between**2 + within**2 + part**2
                fraction = (1 - VOIDS[process]) / (1 + math.exp(log + 0.5 * total))
                count = self.counts.get((process, form), 0)
                said = f"{count} published figures" if count > 1 else "1 published figure" if count else "no figure"
                note = f"at 300 g/m^2; {said} of this form and process" + ("" if count else ": between its neighbours")
                kind = "derived" if count else "assumed"
                found[process, f"fibre_volume_fraction ({form})"] = (f"{fraction:.3f}", kind, note)
                found[process, f"spread_between_fabrics ({form})"] = (
                    f"{math.hypot(within, off):.3f}", kind,
                    "standard deviation of ln take-up: between fabrics of one form, and what the rows leave open",
                )  # fmt: skip
            found[process, "spread_between_shops"] = (
                f"{between:.3f}", "derived", "the same between shops, whatever their hand"
            )  # fmt: skip
            found[process, "mat_backing"] = (
                f"{math.exp(self['backing']):.3f}", "derived",
                "factor on the resin of mat that is stitched to a cloth, against mat alone",
            )  # fmt: skip
            found[process, "spread_between_parts"] = (f"{part:.3f}", "derived", "the same between parts of one shop")
            if process != "prepreg":
                found[process, "surface_resin"] = (
                    f"{math.exp(self[f'film {process}']) * 1e3:.3g} g/m^2", "derived",
                    "per free face of a ply of 200 g/m^2 or more; a lighter one holds less",
                )  # fmt: skip
                share = self.sum_of("bond", f"bond {process}")[0]
                found[process, "core_bond"] = (
                    f"{math.exp(share):.2f}", "derived" if process == "vacuum bag" else "assumed",
                    "share of the core's bond resin that this process leaves; one weighed panel speaks of it",
                )  # fmt: skip
                trend = self.sum_of("s", f"s {process}")[0]
                found[process, "areal_weight_exponent"] = (
                    f"{trend:.3f}", "derived", "resin volume per fibre volume goes as areal weight to minus this"
                )  # fmt: skip
        found["wet", "squeegeed"] = (
            f"{math.exp(self['squeegeed']):.3f}", "derived", "factor on the plies' resin where it is squeegeed hard"
        )  # fmt: skip
        found["wet", "rolled"] = (
            f"{math.exp(self['rolled']):.3f}", "derived", "factor on the plies' resin where it is rolled out"
        )  # fmt: skip
        found["wet", "spread_of_one_hand"] = (
            f"{self.spreads['laboratory wet']:.3f}", "derived", "the same between shops of one hand"
        )  # fmt: skip
        for process in ("vacuum bag", "infusion"):
            found[process, "pressure_exponent"] = (
                f"{self['exponent']:.3f}", "derived", "of V_f on pressure; published curves say 0.046 to 0.071"
            )  # fmt: skip
            found[process, "pressure_exponent_spread"] = (
                f"{self.sum_of('exponent')[1]:.3f}", "derived", "its standard deviation"
            )  # fmt: skip
        found["prepreg", "bled_away"] = (
            f"{-math.expm1(self['bled']):.3f}", "derived", "share of the resin as bought that bleeds or is soaked up"
        )  # fmt: skip
        bought = math.hypot(self.spreads["laboratory prepreg"], self.sum_of("bled")[1])
        found["prepreg", "spread_as_bought"] = (
            f"{bought:.3f}", "derived", "between shops where the cloth says its resin content: schedule and bleeder"
        )  # fmt: skip
        return found


def fit(rows: Iterable[Row], rounds: int = 6, start: Fitted | None = None) -> Fitted:
    """The posterior of the resin model.

    Args:
        rows: Published figures; those not used are passed over.
        rounds: Times the model is linearised.
        start: Another fit, from which fewer rounds do: of all rows, where a few are left out. It is no prior.

    Returns:
        The posterior.
    """
    used = [row for row in rows if row.used in ("yes", "fit")]
    library = load_library()
    plies = [read_plies(row.plies, library) for row in used]
    resins = [library.get("resin", row.resin).figure("density").value for row in used]
    names, means, kinds = list(PRIOR), [m for m, _ in PRIOR.values()], ["prior"] * len(PRIOR)

    def term(name: str, kind: str) -> None:
        if name not in names:
            names.append(name)
            means.append(0.0)
            kinds.append(kind)

    touched: list[list[str]] = []
    counts: dict[tuple[str, str], int] = {}
    for row, laid in zip(used, plies, strict=True):
        fabrics = [ply for ply in laid if ply.count]
        term(f"laboratory {row.laboratory}, {row.process}", f"laboratory {row.process}")
        term(f"plate {row.plate}", f"plate {row.process}")
        own = [f"laboratory {row.laboratory}, {row.process}", f"plate {row.plate}"]
        if not row.hand and row.process == "wet":
            term(f"hand {row.laboratory}, wet", "hand")
            own.append(f"hand {row.laboratory}, wet")
        for ply in fabrics:
            term(f"fabric {ply.key}", "fabric")
            term(f"cloth {ply.key}", "cloth")
            own += [f"fabric {ply.key}", f"cloth {ply.key}"]
        forms = frozenset({ply.form for ply in fabrics} | ({"mat"} if any(ply.mat for ply in fabrics) else set()))
        touched.append([name for name in PRIOR if _speaks(name, row.process, forms)] + own)
        for form in forms:
            counts[row.process, form] = counts.get((row.process, form), 0) + 1
    place = {name: number for number, name in enumerate(names)}
    prior_mean = np.array(means)
    target = np.log([row.value for row in used])
    noise = np.array([row.own_spread**2 for row in used])
    spreads = dict(SPREADS if start is None else start.spreads)

    def prior_variance() -> Floats:
        fixed = {"hand": HAND_SPREAD, "cloth": CLOTH_SPREAD}
        return np.array(
            [PRIOR[name][1] ** 2 if kind == "prior" else (spreads.get(kind) or fixed[kind]) ** 2
             for name, kind in zip(names, kinds, strict=True)]
        )  # fmt: skip

    at = prior_mean.copy()
    if start is not None:
        known = dict(zip(start.names, start.mean, strict=True))
        at = np.array([known.get(name, 0.0) for name in names])
    gain = covariance = own = np.zeros(0)
    for _ in range(rounds):
        here: dict[str, float | Floats] = dict(zip(names, at, strict=True))
        value, slope = np.zeros(len(used)), np.zeros((len(used), len(names)))
        for number, (row, laid, density) in enumerate(zip(used, plies, resins, strict=True)):
            moved = {
                name: here[name] + 1e-5 * unit
                for name, unit in zip(touched[number], np.eye(len(touched[number]) + 1)[1:], strict=True)
            }
            told = np.log(model(Point({**here, **moved}), row, laid, density))
            value[number] = told[0]
            slope[number, [place[name] for name in touched[number]]] = (told[1:] - told[0]) / 1e-5
        off = target - value - slope @ (prior_mean - at)
        _learn_spreads(spreads, slope, kinds, prior_variance, noise, off)
        variance = prior_variance()
        total = (slope * variance) @ slope.T + np.diag(noise)
        gain = np.linalg.solve(total, slope * variance).T
        at = prior_mean + gain @ off
        covariance = np.diag(variance) - gain @ (slope * variance)
        of_one = np.array([kind != "prior" for kind in kinds])
        own = np.sqrt(noise + (slope * slope) @ (variance * of_one))
    strays = {row.name: float(stray) for row, stray in zip(used, own, strict=True)}
    return Fitted(names, at, covariance, spreads, counts, strays)


@cache
def _speaks(name: str, process: str, forms: frozenset[str]) -> bool:
    """Whether a term can enter a row of this process and these forms."""
    others = [p for p in PROCESSES if p != process]
    if any(name.endswith(f" {p}") or f" {p}," in name for p in others):
        return False
    return not name.startswith(("a ", "g ")) or any(name.endswith(form) for form in forms)


def _learn_spreads(
    spreads: dict[str, float], slope: Floats, kinds: list[str], prior_variance: object, noise: Floats, off: Floats
) -> None:
    """Standard deviations of greatest marginal likelihood under their priors, one after the other, three times."""
    parts = {
        kind: (slope[:, pick] @ slope[:, pick].T)
        for kind in spreads
        if (pick := np.array([k == kind for k in kinds])).any()
    }
    stacked = np.stack(list(parts.values()))
    rest = np.diag(noise) + (slope * np.where([k in spreads for k in kinds], 0.0, prior_variance())) @ slope.T  # type: ignore[operator]  # arrays

    def worth(trial: dict[str, float]) -> float:
        total = rest + np.tensordot([trial[kind] ** 2 for kind in parts], stacked, 1)
        lower = np.linalg.cholesky(total)
        scaled = solve_triangular(lower, off, lower=True, check_finite=False)
        said = -float(np.log(np.diag(lower)).sum()) - 0.5 * float(scaled @ scaled)
        for kind, centre in SPREADS.items():
            said -= 0.5 * (math.log(trial[kind] / centre) / SPREAD_OF_SPREADS) ** 2
        return said

    for step in (0.3, 0.1, 0.03, 0.01):
        moved = True
        while moved:
            moved = False
            best = worth(spreads)
            for kind in parts:
                for side in (1 + step, 1 / (1 + step)):
                    trial = {**spreads, kind: spreads[kind] * side}
                    said = worth(trial)
                    if said > best + 1e-9:
                        spreads.update(trial)
                        best, moved = said, True


# The table


def table(fitted: Fitted, path: Path = TABLE) -> str:
    """The table of processes with the fitted figures in it, each before other rows of its property."""
    with path.open(encoding="utf-8", newline="") as file:
        listed = list(csv.DictReader(file))
    figures = fitted.figures()
    columns = ["material", "property", "value", "kind", "source", "at"]
    kept = [row for row in listed if row["source"] != SOURCE]
    out: list[dict[str, str]] = []
    written: set[tuple[str, str]] = set()

    def write(key: tuple[str, str]) -> None:
        if key in figures and key not in written:
            value, kind, note = figures[key]
            out.append(dict(zip(columns, (*key, value, kind, SOURCE, note), strict=True)))
            written.add(key)

    order = [(row["material"], row["property"]) for row in listed]
    for process in PROCESSES:
        for key in dict.fromkeys([k for k in order if k[0] == process] + [k for k in figures if k[0] == process]):
            write(key)
            out += [row for row in kept if (row["material"], row["property"]) == key]
    out += [row for row in kept if row["material"] not in PROCESSES]
    lines = [",".join(columns)]
    for row in out:
        lines.append(",".join(_cell(row[name]) for name in columns))
    return "\n".join(lines) + "\n"


def _cell(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if any(mark in text for mark in ',"') else text


def report(fitted: Fitted) -> str:
    """What was learnt, for the terminal."""
    lines = ["standard deviations of ln take-up"]
    lines += [f"  {name:<24}{value:.3f}" for name, value in fitted.spreads.items()]
    lines.append("terms")
    lines += [f"  {name:<28}{fitted.sum_of(name)[0]:+.3f} +- {fitted.sum_of(name)[1]:.3f}" for name in PRIOR]
    lines.append("fibre volume fraction at 300 g/m^2")
    for process in PROCESSES:
        values = fitted.figures()
        told = ", ".join(f"{form} {values[process, f'fibre_volume_fraction ({form})'][0]}" for form in FORMS)
        lines.append(f"  {process}: {told}")
    return "\n".join(lines)


def main() -> None:
    """Fit and write."""
    fitted = fit(read_rows())
    TABLE.write_text(table(fitted), encoding="utf-8")
    print(report(fitted))
    print(f"{TABLE.name} is written. E-glass: {fitted.e_glass / 1e3:.2f} g/cm^3, the first row of fibres.csv.")


if __name__ == "__main__":
    main()
