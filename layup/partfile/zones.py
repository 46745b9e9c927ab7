"""The `[[zone]]` tables of a part file as the surface reads them: units written out, named zones put in their place."""

from __future__ import annotations

from collections.abc import Mapping

from layup.errors import SurfaceError
from layup.partfile.model import WHOLE, ZoneEntry
from layup.shape.measure import Measured
from layup.shape.surface import Surface

Spec = dict[str, object]


def zone_spec(zone: ZoneEntry, zones: Mapping[str, ZoneEntry], inside_of: tuple[str, ...] = ()) -> Spec:
    """One zone as `Surface.zone` reads it.

    Args:
        zone: The table.
        zones: All zones of the file by name, for those it names under `or`, `and`, `not`.
        inside_of: Names of the zones it is being read for, to notice one that names itself.

    Returns:
        Keys and values; bare numbers have their unit, an outline without a direction looks along z.

    Raises:
        SurfaceError: A number without a unit, a zone that names itself, or one that is only an area.
    """
    if zone.name in inside_of:
        way = " -> ".join((*inside_of, zone.name))
        raise SurfaceError(f"the zone names itself ({way})", "Take one of these names out")
    if zone.area is not None:
        raise SurfaceError(f'zone "{zone.name}" is only an area, so it can\'t be combined', "Give it a place")
    spec: Spec = {"name": zone.name, "within": zone.within, "between": zone.between, "group": zone.group}
    if zone.inside is not None:
        spec |= {"inside": zone.inside, "along": list(zone.along or (0.0, 0.0, 1.0))}
    chain = (*inside_of, zone.name)
    for key, names in zone.joined().items():
        spec[key] = [
            {"name": WHOLE} if name.casefold() == WHOLE else zone_spec(zones[name], zones, chain)
            for name in names
            if name in zones or name.casefold() == WHOLE
        ]
    return {key: value for key, value in spec.items() if value is not None}


def measure_zone(zone: ZoneEntry, zones: dict[str, ZoneEntry], surface: Surface) -> Measured:
    """Measures of a zone: as its table states them, or as they are on the surface."""
    if zone.area is not None:
        if zone.area > surface.whole.area * 1.001:
            raise SurfaceError("the zone is larger than the surface", "Check both areas")
        return Measured(zone.area)
    return surface.zone(zone_spec(zone, zones))
