"""What a prediction expects on the scale at each stage, and how much of it the resin may change.

`expect` divides the expected mass of a stage into the resin whose amount the shop's hand decides, and the rest with
its own uncertainty. That is all the calibration needs of a part, and all it keeps; see docs/calibration-model.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from layup.errors import LayupError
from layup.laminate import allowances as allow
from layup.partfile.job import Job
from layup.weight.plies import Layer
from layup.weight.weigh import Weighed, cloth_deviation

STAGE_NAMES = {
    "dry-cloth": "dry cloth",
    "resin-mixed": "resin mixed",
    "left-in-cups": "left in cups",
    "wet-laminate": "wet laminate",
    "bag-materials": "bag materials",
    "demoulded": "demoulded",
    "trimmed": "trimmed",
    "finished": "finished",
}
"""Stages in the order of the work, as they are typed and as sheet, screen and page call them."""
STAGES = tuple(STAGE_NAMES)
"""As they are typed and kept; a part weighs something at the last three."""
_ALSO = {"cup": "left-in-cups", "cups": "left-in-cups", "bag": "bag-materials", "mixed-resin": "resin-mixed"}
"""Names that a record of before holds, or that somebody types."""
WHOLE_STAGES = ("demoulded", "trimmed", "finished")
STAGE_WORDS = {
    "dry-cloth": "the cloth, dry, cut to lay",
    "resin-mixed": "the resin mixed",
    "left-in-cups": "the resin left in cups, brushes and gloves",
    "wet-laminate": "the wet laminate, before peel ply and bag",
    "bag-materials": "the resin in peel ply, breather and bag",
    "demoulded": "off the mould, not trimmed",
    "trimmed": "trimmed, no finish, nothing fitted",
    "finished": "finished, all of it",
}


def stage_of(text: str) -> str:
    """A stage by its name, by the name it had before, or in another spelling; as typed where it is none.

    >>> stage_of("demolded"), stage_of("left in cups"), stage_of("bag")
    ('demoulded', 'left-in-cups', 'bag-materials')
    """
    plain = "-".join(text.casefold().replace("_", " ").split()).replace("molded", "moulded")
    return _ALSO.get(plain, plain)


@dataclass(frozen=True, slots=True)
class Ground:
    """The expected mass at a stage: rest + resin x factor, by published figures alone.

    Attributes:
        process: Root of the habit: the process, or it with its resin in the cloth.
        form: Of the reinforcement that carries most of the resin.
        fabric: The one that carries most of it.
        rest: All but the plies' resin. [kg]
        resin: The plies' resin that follows the shop's hand, mean. [kg]
        rest_spread: Standard deviation of all that is not the hand, the part's luck or the main cloth. [kg]
        shop_spread: Of ln take-up between shops. [-]
        part_spread: Of ln take-up between parts of one shop. [-]
        cloth_spread: What a shop keeps from part to part of one cloth beside its hand, as a spread of ln take-up: the
            roll's tolerance and its share of the film on the faces. [-]
        cored: Whether there is a core in it.
        terms: The same mass divided by what strays alike in all parts of a kind, for the joint posterior; None where
            the weight can't be divided (a finished part whose finish nobody stated).
    """

    process: str
    form: str
    fabric: str
    rest: float
    resin: float
    rest_spread: float
    shop_spread: float
    part_spread: float
    cloth_spread: float
    cored: bool = False
    terms: dict[str, object] | None = None

    @property
    def mass(self) -> float:
        """Expected. [kg]"""
        return self.rest + self.resin

    def as_dict(self) -> dict[str, object]:
        """As the record keeps it."""
        return asdict(self)


def stage_mass(job: Job, weighed: Weighed, stage: str) -> float | None:
    """Expected mass at a stage; None where nothing says what to expect.

    Returns:
        The mass. [kg]

    Raises:
        LayupError: There is no such stage.
    """
    bare = weighed.mass.mean - weighed.finish - weighed.extra + weighed.gel_coat
    if stage == "dry-cloth":
        return weighed.fibre + sum(y.fibre * y.cut_away for y in weighed.layers)
    if stage == "resin-mixed":
        return weighed.resin_to_mix or None
    if stage == "left-in-cups":
        return None
    if stage == "wet-laminate":
        from layup.make.points import weigh_points

        there = [point.mass for point in weigh_points(job, weighed) if point.stage == stage]
        return there[0].mean if there and there[0] is not None else None
    if stage == "bag-materials":
        return weighed.to_bag or None
    if stage == "demoulded":
        return bare + weighed.trimmed_off + weighed.gel_coat_away
    if stage == "trimmed":
        return bare
    if stage == "finished":
        return weighed.mass.mean
    raise LayupError(f'there is no stage "{stage}". Stages: {", ".join(STAGES)}')


def trim_strip(weighed: Weighed) -> tuple[float, float]:
    """What is cut away, the edge and the openings: its mass, and the resin of its plies. [kg]"""
    resin = sum(y.resin * y.cut_away for y in weighed.layers if y.take_up is not None and y.take_up.learns)
    return weighed.trimmed_off + weighed.gel_coat_away, resin


def edge_width(job: Job) -> float:
    """Width of the edge that is cut away; 0 where the part file names none. [m]"""
    return job.part.trim or 0.0


def expect(job: Job, weighed: Weighed, stage: str, resolution: float | None = None) -> Ground | None:
    """What a whole part should weigh at a stage, divided for the calibration.

    Args:
        job: The part.
        weighed: Its prediction by published figures alone (no habits laid over it).
        stage: "demoulded", "trimmed" or "finished".
        resolution: Of the scale. [kg]

    Returns:
        The division; None where no ply's resin follows the shop's hand, or at another stage.
    """
    if stage not in WHOLE_STAGES:
        return None
    ours = [y for y in weighed.layers if y.take_up is not None and y.take_up.learns and y.resin > 0]
    mass = stage_mass(job, weighed, stage)
    if not ours or mass is None:
        return None
    main = _main(ours)
    assert main.take_up is not None
    strip_mass, strip_resin = trim_strip(weighed) if stage == "demoulded" else (0.0, 0.0)
    resin = sum(y.resin * y.area for y in ours) + strip_resin
    on_surface = mass - (weighed.extra if stage == "finished" else 0.0)
    parts = [
        _area_deviation(job) * on_surface,
        allow.deviation(allow.FILM) * math.sqrt(1 - allow.FILM_OF_SHOP) * weighed.film,
        0.15 * strip_mass,  # a rough edge is never as wide as it was meant
        (resolution or 0.0) / math.sqrt(12.0),
    ]
    cores = [y for y in weighed.layers if y.take_up is None]
    parts += [allow.deviation(allow.CORE) * y.core * y.area for y in cores]
    parts.append(allow.deviation(allow.BOND) * sum((y.bond + y.resin) * y.area for y in cores))
    parts += _put_on(weighed, stage)
    fabrics = [y for y in weighed.layers if y.take_up is not None]
    others: dict[str, float] = {}
    for layer in fabrics:
        if layer.name != main.name:
            others[layer.name] = others.get(layer.name, 0.0) + (layer.fibre + layer.resin) * layer.area
    parts += [cloth_deviation(_named(fabrics, name)) * amount for name, amount in others.items()]
    parts.append(sum(y.resin * y.area * y.take_up.pressure_spread for y in ours if y.take_up is not None))
    parts.append(
        sum(
            y.resin * y.area * y.take_up.shop_spread
            for y in ours
            if y.take_up and y.take_up.learns != main.take_up.learns
        )
    )
    main_mass = sum((y.fibre + y.resin) * y.area for y in fabrics if y.name == main.name)
    return Ground(
        process=main.take_up.learns[0],
        form=main.take_up.learns[1],
        fabric=main.name,
        rest=mass - resin,
        resin=resin,
        rest_spread=math.sqrt(sum(p * p for p in parts)),
        shop_spread=main.take_up.shop_spread,
        part_spread=main.take_up.part_spread,
        cloth_spread=math.hypot(
            cloth_deviation(main) * main_mass / resin,
            allow.deviation(allow.FILM) * math.sqrt(allow.FILM_OF_SHOP) * weighed.film / resin,
        ),
        cored=bool(cores),
        terms=_terms(job, weighed, stage, resolution, ours, strip_mass),
    )


def _put_on(weighed: Weighed, stage: str) -> list[float]:
    """Spreads of the finishes and extras that are on the part by then, its gel coat from the first. [kg]"""
    if stage == "finished":
        return [thing.spread * thing.mass for thing in (*weighed.finishes, *weighed.extras)]
    return [thing.spread * thing.mass * thing.in_mould for thing in weighed.finishes]


def _terms(
    job: Job,
    weighed: Weighed,
    stage: str,
    resolution: float | None,
    ours: Sequence[Layer],
    strip: float,
) -> dict[str, object] | None:
    """The mass at a stage by what strays alike in all parts of a kind; see `layup.learn.posterior.Piece`."""
    if stage == "finished" and not weighed.finishes:
        return None  # it may be painted or not: nobody said
    base = weighed.process.name
    laid: dict[tuple[str, ...], list[Layer]] = {}
    for layer in ours:
        if layer.take_up is not None:
            laid.setdefault((*layer.take_up.learns, layer.name), []).append(layer)
    total = sum(y.resin * y.area for y in ours)
    resins, cloth, lots = [], {}, []
    for (root, form, fabric), layers in laid.items():
        more = [y.cut_away if stage == "demoulded" else 0.0 for y in layers]
        resin = sum(y.resin * (y.area + away) for y, away in zip(layers, more, strict=True))
        fibre = sum(y.fibre * y.area for y in layers)
        first = layers[0]
        assert first.take_up is not None
        strays = cloth_deviation(first) * (fibre + resin)
        spread = math.sqrt(allow.CLOTH_OF_SHOP) * strays / resin
        lots.append(math.sqrt(1 - allow.CLOTH_OF_SHOP) * strays)
        resins.append([root, form, fabric, resin, first.take_up.shop_spread, spread])
        cloth[fabric] = [fibre, first.fibre / (first.draped.factor if first.draped is not None else 1.0)]
    faces: list[list[Any]] = []
    film_spread = weighed.process.film().spread
    if weighed.film > 0:
        faces.append([["film", base], weighed.film, film_spread * math.sqrt(allow.FILM_OF_SHOP)])
    bonds: dict[str, list[float]] = {}
    for layer in weighed.layers:
        if layer.take_up is None:
            held = bonds.setdefault(layer.name, [0.0, 0.0])
            held[0] += (layer.bond + layer.resin) * layer.area
            held[1] += layer.core * layer.area
    for name, (bond, core) in bonds.items():
        if bond > 0:
            # what a maker's sheets have in common in their density is learnt with the bond
            shared = math.sqrt(allow.CORE_OF_SHOP) * allow.deviation(allow.CORE) * core / bond
            spread = math.hypot(allow.deviation(allow.BOND), shared)
            faces.append([["bond", base, name], bond, spread])
    own = [film_spread * math.sqrt(1 - allow.FILM_OF_SHOP) * weighed.film, 0.15 * strip, (resolution or 0.0) / 12**0.5]
    own += [math.sqrt(1 - allow.CORE_OF_SHOP) * allow.deviation(allow.CORE) * core for _, core in bonds.values()]
    own += _put_on(weighed, stage)
    own.append(sum(y.resin * y.area * y.take_up.pressure_spread for y in ours if y.take_up is not None))
    own += lots
    mass = (stage_mass(job, weighed, stage) or 0.0) - (weighed.extra if stage == "finished" else 0.0)
    part = sum(y.resin * y.area * y.take_up.part_spread for y in ours if y.take_up is not None) / total
    return {
        "resins": resins,
        "faces": faces,
        "cloth": cloth,
        "part_spread": part,
        "area": _area_deviation(job) * mass,
        "own": math.sqrt(sum(p * p for p in own)),
        "lots": math.sqrt(sum(p * p for p in lots)),
        "dry": stage_mass(job, weighed, "dry-cloth"),
        "surface": job.surface.whole.area,
    }


def _main(layers: Sequence[Layer]) -> Layer:
    """The layer of the fabric that carries most of the resin."""
    carried: dict[str, float] = {}
    for layer in layers:
        carried[layer.name] = carried.get(layer.name, 0.0) + layer.resin * layer.area
    return _named(layers, max(carried, key=lambda name: carried[name]))


def _named(layers: Sequence[Layer], name: str) -> Layer:
    return next(layer for layer in layers if layer.name == name)


def _area_deviation(job: Job) -> float:
    stated = job.part.surface.area_tolerance
    return stated / allow.Z90 if stated is not None else allow.deviation(allow.SURFACE)
