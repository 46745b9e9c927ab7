"""What the cloth, core and resin of a part cost, from the prices in the shop's own tables."""

from __future__ import annotations

from dataclasses import dataclass

from layup.laminate.process import AS_BOUGHT
from layup.materials import Material
from layup.partfile.job import Job
from layup.units import Price, parse_price
from layup.weight.plies import Layer, roll_weight
from layup.weight.weigh import Weighed


@dataclass(frozen=True, slots=True)
class Cost:
    """Money for the material of one part.

    Attributes:
        amounts: Money by currency.
        lines: Name, money and currency of each material.
        unpriced: Materials that no table gives a price for; they are not in the amounts.
        no_width: Of them, those that are priced by the length of the roll, and no table gives the width.
    """

    amounts: dict[str, float]
    lines: tuple[tuple[str, float, str], ...]
    unpriced: tuple[str, ...]
    no_width: tuple[str, ...] = ()

    @property
    def single(self) -> tuple[float, str] | None:
        """The whole cost where every material has a price in one currency, else None."""
        if self.unpriced or len(self.amounts) != 1:
            return None
        currency, amount = next(iter(self.amounts.items()))
        return amount, currency


def material_cost(job: Job, weighed: Weighed) -> Cost:
    """Cost of cloth and core laid and of resin mixed; overlaps and what is cut away later count, offcuts don't."""
    areas: dict[tuple[str, str], float] = {}
    volumes: dict[tuple[str, str], float] = {}
    masses: dict[tuple[str, str], float] = {}
    rolls: dict[str, float] = {}
    for layer in weighed.layers:
        key = (layer.kind, layer.name)
        areas[key] = areas.get(key, 0.0) + layer.laid
        volumes[key] = volumes.get(key, 0.0) + layer.laid * layer.thickness
        if layer.kind == "fabric" and layer.name not in rolls:
            rolls[layer.name] = roll_weight(job, job.library.get("fabric", layer.name))
        per = layer.core if layer.kind == "core" else rolls[layer.name]
        sheared = layer.draped.factor if layer.draped is not None else 1.0
        masses[key] = masses.get(key, 0.0) + layer.laid * per * sheared
    lines: list[tuple[str, float, str]] = []
    unpriced: list[str] = []
    no_width: list[str] = []

    def add(material: Material, area: float, mass: float, volume: float) -> None:
        price = price_of(material)
        money = None if price is None else _money(price, material, area, mass, volume)
        if price is None or money is None:
            unpriced.append(material.name)
            if price is not None and price.per == "length":
                no_width.append(material.name)
        else:
            lines.append((material.name, money, price.currency))

    for (kind, name), area in areas.items():
        material = job.library.get(kind, name)
        add(material, area, masses[kind, name], volumes[kind, name])
    if weighed.resin_to_mix > 0:
        parts: dict[str, float] = {}
        for layer in weighed.layers:
            parts[layer.resin_name] = parts.get(layer.resin_name, 0.0) + (layer.resin + layer.bond) * layer.area
        total = sum(parts.values())
        for name, resin in parts.items():  # films and losses go with the resin they are of
            if resin > 0:
                material = job.library.get("resin", name)
                mass = weighed.resin_to_mix * resin / total
                add(material, 0.0, mass, mass / material.figure("density").value)
    elif not weighed.process.mixes:
        # a dry cloth stands for the prepreg of it: its price pays for no resin
        dry = [y for y in weighed.layers if y.take_up is not None and y.resin_name and not _bought_with_resin(y)]
        unpriced += dict.fromkeys(f"{layer.resin_name}, in the {layer.name}" for layer in dry)
    amounts: dict[str, float] = {}
    for _, money, currency in lines:
        amounts[currency] = amounts.get(currency, 0.0) + money
    return Cost(amounts, tuple(lines), tuple(unpriced), tuple(no_width))


def _bought_with_resin(layer: Layer) -> bool:
    return bool(layer.take_up and layer.take_up.learns and layer.take_up.learns[0].endswith(AS_BOUGHT))


def price_of(material: Material) -> Price | None:
    """The price of a material, or None where no table gives one."""
    rows = material.rows_of("price")
    return parse_price(rows[0].value) if rows else None


def _money(price: Price, material: Material, area: float, mass: float, volume: float) -> float | None:
    """Money for an amount of a material; None where its price is by something not known of it."""
    if price.per == "area":
        return price.amount * area
    if price.per == "mass":
        return price.amount * mass
    if price.per == "volume":
        return price.amount * volume
    width = material.optional("width")
    if price.per == "length" and width is not None:
        return price.amount * area / width.value
    return None
