"""What a layer's height does to its area and weight: closed forms for sandwiches on tubes, balls and rings.

Meshes stand in for the round shapes; both the drawn area and the layers' areas fall short by the same share, so ratios
to the drawn area are compared, within the tolerance each test gives.
"""

from dataclasses import replace
from math import pi, radians, sin

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from round_shells import torus, tube

import layup
from layup.errors import FaultsError
from layup.partfile.read import read_part
from layup.shape.measure import measure_triangles
from layup.shape.surface import Surface
from layup.weight.compare import process_for
from layup.weight.plies import build
from layup.weight.weigh import weigh_layup

CORE = {"core": "PVC foam 60", "thickness": "20 mm"}
SKIN = {"fabric": "carbon plain 200"}


def job_of(hatch, shell, plies, zones=(), **keys):
    """A job on a surface of the test's own."""
    job = read_part(
        hatch(
            surface={"rectangle": ["1 m", "1 m"], **keys},
            ply=plies,
            zone=[{"name": name, "between": "x 0 mm 1 mm"} for name, _ in zones] or None,
        )
    )
    listed = [z.model_copy(update={"between": where}) for z, (_, where) in zip(job.part.zone, zones, strict=True)]
    part = job.part.model_copy(update={"zone": listed})
    measured = {name: shell.zone({"between": where}) for name, where in zones}
    return replace(job, part=part, surface=shell, zones=measured)


def layers_of(job):
    return build(job, process_for(job, job.part.process, own=True))


def weighed(job):
    return weigh_layup(job, process_for(job, job.part.process, own=True))


@pytest.mark.parametrize(("mould", "way"), [("female", -1), ("male", 1)])
def test_a_sandwich_tube(hatch, mould, way):
    """Volume of each layer: pi (b^2 - a^2) L. The polygon's turn is exact and its area short by 1e-5."""
    job = job_of(hatch, tube(400), [SKIN, CORE, SKIN, SKIN], mould=mould)
    r, low = 0.25, 0.0
    for layer in layers_of(job):
        high = low + layer.thickness
        exact = abs(pi * ((r + way * high) ** 2 - (r + way * low) ** 2)) * 0.6
        assert layer.area * layer.thickness == pytest.approx(exact, rel=1e-4)
        assert layer.risen.height == pytest.approx((low + high) / 2)
        assert layer.mass == pytest.approx(layer.areal_weight * exact / layer.thickness, rel=1e-4)
        low = high
    core = layers_of(job)[1]
    density = core.core / core.thickness
    assert core.core * core.area == pytest.approx(density * core.area * core.thickness)


@pytest.mark.parametrize(("mould", "way"), [("female", -1), ("male", 1)])
def test_a_sandwich_ball(hatch, mould, way):
    """Volume of each layer: 4/3 pi (b^3 - a^3). Tolerance: the mesh's area and its turn are each short by 4e-4."""
    ball = trimesh.creation.icosphere(5, 0.3)
    p, f = np.asarray(ball.vertices), np.asarray(ball.faces)
    job = job_of(hatch, Surface("ball", measure_triangles(p[f]), lambda: (p, f)), [SKIN, CORE, SKIN], mould=mould)
    low = 0.0
    for layer in layers_of(job):
        high = low + layer.thickness
        exact = abs(4 / 3 * pi * ((0.3 + way * high) ** 3 - (0.3 + way * low) ** 3))
        assert layer.area * layer.thickness == pytest.approx(exact, rel=1e-3)
        low = high


@pytest.mark.parametrize(("mould", "way"), [("female", -1), ("male", 1)])
def test_a_sandwich_patch_of_a_ring(hatch, mould, way):
    """Volume between r1 and r2 of the section: pi (R dv (r2^2 - r1^2) + 2/3 (sin v1 - sin v0)(r2^3 - r1^3)).

    Tolerance: half of the outermost facets' turn is missing, 1/160 of a gain of at most 15 %, and the area is short.
    """
    start, stop, big, small = -0.7, 1.1, 0.4, 0.15
    job = job_of(hatch, torus(160, big, small, start, stop), [SKIN, CORE, SKIN], mould=mould)
    low = 0.0
    for layer in layers_of(job):
        high = low + layer.thickness
        r1, r2 = sorted((small + way * low, small + way * high))
        rise = 2 / 3 * (sin(stop) - sin(start)) * (r2**3 - r1**3)
        exact = pi * (big * (stop - start) * (r2**2 - r1**2) + rise)
        assert layer.area * layer.thickness == pytest.approx(exact, rel=2e-3)
        low = high


def test_the_bag_side_drawn_counts_from_the_other_end(hatch):
    """The finished outside over a plug: the last ply lies at the drawn surface, the first one deepest."""
    job = job_of(hatch, tube(400), [SKIN, CORE, SKIN, SKIN], mould="male", drawn="bag side")
    layers = layers_of(job)
    r, high = 0.25, 0.0
    for layer in reversed(layers):
        low, high = high, high + layer.thickness
        exact = pi * ((r - low) ** 2 - (r - high) ** 2) * 0.6
        assert layer.area * layer.thickness == pytest.approx(exact, rel=1e-4)
    assert layers[0].area < layers[-1].area


def test_the_film_lies_on_both_faces(hatch):
    """Tool side at the drawn area, bag side at the outermost: 2 pi R L + 2 pi (R - t) L."""
    job = job_of(hatch, tube(400), [SKIN, CORE, SKIN], mould="female")
    done = weighed(job)
    thick = sum(layer.thickness for layer in done.layers)
    film = process_for(job, job.part.process, own=True).figure("surface_resin").value
    assert done.film == pytest.approx(film * 2 * pi * 0.6 * (0.25 + 0.25 - thick), rel=1e-4)
    assert done.by_height < 0.0


def wing(n=24, radius=0.06, flat=0.2, length=0.5, angle=90.0):
    """Two flats joined by a bend, in the plane x (along the section) and z; y along the bend. Bulging upwards."""
    turn = np.linspace(0.0, radians(angle), n + 1)
    arc = np.stack([radius * np.sin(turn), radius * (np.cos(turn) - 1)], axis=1)
    end = arc[-1] + flat * np.array([np.cos(turn[-1]), -np.sin(turn[-1])])
    line = np.concatenate([[[-flat, 0.0]], arc, [end]])
    m = len(line)
    p = np.concatenate([np.c_[line[:, 0], np.full(m, y), line[:, 1]] for y in (0.0, length)])
    i = np.arange(m - 1)
    f = np.concatenate([np.c_[i, i + 1, i + m + 1], np.c_[i, i + m + 1, i + m]])
    return Surface("wing", measure_triangles(p[f]), lambda: (p, f))


def test_plies_in_a_zone_use_its_own_bend(hatch):
    """On the flat nothing changes; at the bend, all of it: turn times length, but for a part of the facets at its
    border, 1/24 of the turn each."""
    shell = wing()
    zones = (("flat", "x -1 m -1 mm"), ("bend", "x -1 mm 59.99 mm"))
    plies = [SKIN, {**CORE, "thickness": "8 mm", "zone": "flat"}, {**CORE, "thickness": "8 mm", "zone": "bend"}, SKIN]
    first, on_flat, on_bend, last = layers_of(job_of(hatch, shell, plies, zones, mould="female"))
    assert on_flat.risen.gained == pytest.approx(0.0, abs=2e-5)
    middle = first.thickness + 0.004
    assert on_bend.risen.gained == pytest.approx(-middle * radians(90) * 0.5, rel=0.04)
    # the last ply climbs over both cores
    climbed = first.thickness + 0.008 + last.thickness / 2
    assert last.risen.gained == pytest.approx(-climbed * radians(90) * 0.5, rel=1e-2)
    job = job_of(hatch, shell, plies, zones)
    cored = (job.zones["flat"].area + job.zones["bend"].area) / shell.whole.area
    assert last.risen.height == pytest.approx(1.5 * first.thickness + 0.008 * cored)


def test_a_ply_climbs_over_a_core_only_where_it_is(hatch):
    """A core on the flat alone does not move the ply over it at the bend. Tolerance 1 %: a little of the first edge's
    turn is the wide flat face's."""
    plies = [SKIN, {**CORE, "thickness": "8 mm", "zone": "flat"}, SKIN]
    layers = layers_of(job_of(hatch, wing(), plies, (("flat", "x -1 m -20 mm"),), mould="female"))
    assert layers[-1].risen.gained == pytest.approx(-1.5 * layers[0].thickness * radians(90) * 0.5, rel=1e-2)


@pytest.mark.parametrize("keys", [{}, {"mould": "female"}, {"mould": "male", "drawn": "bag side"}])
@pytest.mark.parametrize("surface", [{"rectangle": ["1 m", "1 m"]}, "tilted", {"area": "1 m^2"}])
def test_a_flat_panel_keeps_its_weight_to_the_last_bit(hatch, surface, keys, tmp_path):
    """Against the same panel known only by its area, which has no shape to follow; every draw of the interval too."""
    plies = [SKIN, CORE, SKIN]
    if surface == {"area": "1 m^2"}:
        keys = {}
    if surface == "tilted":
        c, s = np.cos(0.3), np.sin(0.3)
        p = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0.0]]) @ np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])
        f = np.array([[0, 1, 2], [0, 2, 3]])
        shell = Surface("tilted", replace(measure_triangles(p[f]), area=1.0), lambda: (p, f))
        job = job_of(hatch, shell, plies, **keys)
    else:
        job = read_part(hatch(surface={**surface, **keys}, ply=plies))
    plain = weighed(read_part(hatch(surface={"area": "1 m^2"}, ply=plies)))
    done = weighed(job)
    assert done.mass == plain.mass
    assert (done.drawn == plain.drawn).all()
    assert (done.film, done.resin, done.core) == (plain.film, plain.resin, plain.core)
    assert [y.area for y in done.layers] == [1.0, 1.0, 1.0]
    assert (done.by_height, done.either_way) == (0.0, 0.0)


def test_where_the_side_is_not_known_the_interval_holds_both(hatch):
    """The mean is that of the drawn surface; female and male lie as far to either side as the caution says."""
    plies = [SKIN, CORE, SKIN]
    job = job_of(hatch, tube(120), plies)
    done = weighed(job)
    assert done.by_height == 0.0
    female, male = (weighed(job_of(hatch, tube(120), plies, mould=m)) for m in ("female", "male"))
    assert done.mass.mean == pytest.approx((female.mass.mean + male.mass.mean) / 2, rel=1e-6)
    assert done.either_way == pytest.approx((male.mass.mean - female.mass.mean) / 2, rel=1e-6)
    assert done.mass.p05 < female.mass.mean < done.mass.mean < male.mass.mean < done.mass.p95
    assert np.mean(done.drawn) == pytest.approx(done.mass.mean, rel=2e-3)
    assert np.std(done.drawn) > np.std(female.drawn)
    said = [c for c in layup.predict(job).cautions if "not known" in c]
    assert len(said) == 1
    assert 'mould = "female" or "male"' in said[0]
    assert "bulging side" in " ".join(layup.predict(job_of(hatch, tube(120), plies, mould="male")).cautions)


def test_a_thin_skin_says_nothing(hatch):
    """0.2 mm of cloth on a tube of 250 mm radius: 0.04 % is not worth a line."""
    cautions = " ".join(layup.predict(job_of(hatch, tube(120), [SKIN])).cautions)
    assert "hollow" not in cautions
    assert "not known" not in cautions


def test_past_the_radius(hatch):
    """A pipe of 15 mm radius with 20 mm of foam inside: filled, not turned inside out; and it says so."""
    job = job_of(hatch, tube(60, radius=0.015), [SKIN, CORE, SKIN], mould="female")
    first, core, last = layers_of(job)
    left = 0.015 - first.thickness
    assert core.area * core.thickness == pytest.approx(pi * left**2 * 0.6, rel=5e-3)
    assert last.area == 0.0
    assert weighed(job).mass.p05 > 0.0
    cautions = " ".join(layup.predict(job).cautions)
    assert "Ply 2, 3: past the radius" in cautions
    assert "tighter than the layers" in cautions
    outside = layup.predict(job_of(hatch, tube(60, radius=0.015), [SKIN, CORE, SKIN], mould="male"))
    assert "radius" not in " ".join(outside.cautions)


@settings(max_examples=25, deadline=None)
@given(
    thicknesses=st.lists(st.floats(0.5, 40.0), min_size=1, max_size=4),
    mould=st.sampled_from(["female", "male"]),
    radius=st.floats(0.01, 0.5),
)
def test_no_layup_turns_a_tube_inside_out(thicknesses, mould, radius):
    """Cores of any thickness in a tube of any radius: together they fill the ring, or the whole of its inside."""
    plies = [SKIN, *({**CORE, "thickness": f"{t} mm"} for t in thicknesses)]
    job = job_of(_hatch, tube(90, radius=radius), plies, mould=mould)
    layers = layers_of(job)
    assert min(layer.area for layer in layers) >= 0.0
    deep = sum(layer.thickness for layer in layers)
    other = radius + deep if mould == "male" else max(radius - deep, 0.0)
    volume = sum(layer.area * layer.thickness for layer in layers)
    assert volume == pytest.approx(pi * abs(other**2 - radius**2) * 0.6, rel=2e-3)


def _hatch(**changes):
    part = {"title": "Hatch", "process": "vacuum bag", "resin": "epoxy, laminating", **changes}
    return {key: value for key, value in part.items() if value is not None}


def test_the_door_as_a_solid_and_as_a_shell(hatch, examples):
    """The same door read as one side of a solid and, told its mould, as an open shell: within 0.2 %, as their meshes
    differ."""
    glider = examples / "motor-glider"
    plies = [SKIN, SKIN]

    def door(**surface):
        return layup.predict(hatch(surface={"unit": "mm", **surface}, ply=plies), glider)

    solid = door(mesh="engine-bay-door-solid.stl", side="outer")
    shell = door(mesh="engine-bay-door.stl", mould="female")
    assert solid.weighed.by_height == pytest.approx(shell.weighed.by_height, rel=0.02)
    assert solid.weighed.by_height < 0.0
    unknown = door(mesh="engine-bay-door.stl")
    assert unknown.weighed.either_way == pytest.approx(-shell.weighed.by_height, rel=0.02)
    record = shell.as_json()
    assert record["surface"]["mould"] == "female"
    assert (record["surface"]["drawn"], record["surface"]["layers_known"]) == ("tool side", True)
    assert unknown.as_json()["surface"]["layers_known"] is False
    assert "behind it" in solid.as_json()["surface"]["layers_taken"]
    assert record["by_height_kg"] == shell.weighed.by_height
    ply = record["plies"][1]
    assert ply["area_m2"] == pytest.approx(record["surface"]["area_m2"] + ply["area_by_height_m2"])
    assert ply["height_m"] == pytest.approx(1.5 * ply["thickness_m"])


@pytest.mark.parametrize(
    ("surface", "said"),
    [
        ({"rectangle": ["1 m", "1 m"], "mould": "sideways"}, 'Write mould = "female"'),
        ({"rectangle": ["1 m", "1 m"], "mould": "facing (0, 0, 0)"}, "the direction has no length"),
        ({"area": "1 m^2", "mould": "female"}, "no shape that layers could follow"),
        ({"rectangle": ["1 m", "1 m"], "drawn": "inside"}, "tool side"),
    ],
)
def test_what_cannot_be_meant(hatch, surface, said):
    with pytest.raises(FaultsError, match="1 fault") as caught:
        read_part(hatch(surface=surface))
    assert said in str(caught.value)
