"""The bench for other programs: cloth, pots and bag as JSON in SI units."""

from __future__ import annotations

import json
from collections.abc import Sequence

from layup.make.bag import Bag
from layup.make.batches import Mix
from layup.make.cut import Cut
from layup.make.plies_to_cut import extent


def _text(data: object) -> str:
    return json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)


def _price(price: tuple[float, str] | None) -> dict[str, object] | None:
    return None if price is None else {"amount": price[0], "currency": price[1]}


def cut_json(cut: Cut, shelf: Sequence[str] = ()) -> str:
    """Cloth to cut, roll by roll, with where each piece lies; what the stock list says, where one was asked."""
    return _text(
        {
            "parts": [job.part.title for job in cut.jobs],
            "fabrics": [
                {
                    "fabric": f.fabric,
                    "roll_width_m": f.nest.roll.width,
                    "cut_off_m": f.length,
                    "from": None if f.of is None else {"label": f.of.label, "lot": f.of.lot, "remnant": not f.of.roll},
                    "used": 1.0 - f.waste,
                    "mass_kg": f.mass,
                    "price": _price(f.price),
                    "how": f.nest.how,
                    "stopped": f.nest.stopped,
                    "pieces": [
                        {
                            "name": f.pieces[p.piece].name,
                            "part": cut.jobs[f.pieces[p.piece].part].part.title,
                            "ply": f.pieces[p.piece].ply.number,
                            "angle_deg": f.pieces[p.piece].ply.angle,
                            "area_m2": f.pieces[p.piece].shape.area,
                            "rough": f.pieces[p.piece].ply.rough or f.pieces[p.piece].ply.guessed,
                            "x_m": p.x,
                            "y_m": p.y,
                            "turned": p.turned,
                            "face_down": p.flipped,
                        }
                        for p in f.nest.placed
                    ],
                }
                for f in cut.fabrics
            ],
            "cores": [
                {
                    "name": name,
                    "part": job.part.title,
                    "ply": core.number,
                    "core": core.name,
                    "thickness_m": core.thickness,
                    "area_m2": shape.area,
                    "fits_in_m": list(extent((shape,))),
                }
                for job, cores in zip(cut.jobs, cut.cores, strict=True)
                for core in cores
                for name, shape in core.pieces
            ],
            "proposals": list(cut.proposals),
            "notes": list(cut.notes),
            "stock": list(shelf),
        }
    )


def mix_json(mixes: tuple[Mix, ...]) -> str:
    """Pots in the order of use."""
    return _text(
        [
            {
                "resin": mix.resin,
                "hardener_per_resin_by_mass": mix.ratio,
                "hardens_by": mix.cure,
                "ratio_asked_for": mix.asks or None,
                "hardener_per_resin_by_volume": mix.volume_ratio,
                "mixed_density_kg_m3": None if mix.densities is None else mix.densities[2],
                "to_mix_kg": mix.total,
                "temperature_k": mix.temperature,
                "people": mix.people,
                "scale_step_kg": None if mix.scale is None else mix.scale.step,
                "ratio_error": mix.ratio_error,
                "pots": [
                    {
                        "pot": b.number,
                        "resin_kg": b.resin,
                        "hardener_kg": b.hardener,
                        "total_kg": b.mass,
                        "mix_at_s": b.start,
                        "used_by_s": b.used,
                        "lasts_s": b.lasts,
                        "plies": list(b.plies),
                        "cup_m3": b.cup,
                    }
                    for b in mix.batches
                ],
                "cautions": list(mix.cautions),
            }
            for mix in mixes
        ]
    )


def bag_json(bag: Bag) -> str:
    """The bag from the tool up."""
    return _text(
        {
            "layers": [
                {
                    "name": y.name,
                    "material": y.material or None,
                    "area_m2": y.area,
                    "length_m": y.length,
                    "strips": y.strips,
                    "count": y.count,
                    "price": _price(y.price),
                }
                for y in bag.layers
            ],
            "pressure_pa": bag.pressure,
            "most_pressure_pa": bag.ceiling,
            "force_n": bag.force,
            "resin_kept_kg": bag.drinks,
            "leak_down": None if bag.leak is None else {"fall_pa": bag.leak[0], "time_s": bag.leak[1]},
            "unpriced": list(bag.unpriced),
            "notes": list(bag.notes),
        }
    )
