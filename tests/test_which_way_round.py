"""Which way round: angles and patterns are as the person at the mould sees them, from the bag side.

Checked by geometry on a shallow dome over an outline that is not its own mirror image, drawn with its faces up and
with its faces down, laid in a female mould, over a male one, and with nothing said.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from numpy.typing import NDArray
from pytest import approx
from shapely import affinity

from layup.cloth.draped import drape_ply
from layup.cloth.pattern import FlatPly, flat_plies
from layup.cloth.templates import write_dxf, write_svg
from layup.commands.cli import main
from layup.make.cut import cut
from layup.partfile.read import read_part
from layup.report.shape_drawing import draw_shape, draw_ways, view_of
from layup.shape.flat import triangles_of
from layup.sides.mould import seen

Hatch = Callable[..., dict[str, Any]]

FLAG = shapely.Polygon([(0, 0), (0.6, 0), (0.6, 0.12), (0.25, 0.2), (0.2, 0.45), (0, 0.4)])
"""Not its own mirror image, whichever way it is turned. [m]"""
WIDE = {"carbon unidirectional 200": 5.0}
"""In one piece, whatever the roll. [m]"""
RADIUS = 3.0
"""Of the dome, which bulges towards +z. [m]"""


def dome(path: Path, *, up: bool) -> Path:
    """Write the dome over the flag, its faces looking up or down."""
    grid = [shapely.LineString([(x, -1), (x, 1)]) for x in np.arange(0.02, 0.6, 0.02)]
    grid += [shapely.LineString([(-1, y), (1, y)]) for y in np.arange(0.02, 0.45, 0.02)]
    points, faces = triangles_of(FLAG, grid)
    off = ((points[:, :2] - (0.25, 0.2)) ** 2).sum(axis=1)
    points[:, 2] = np.sqrt(RADIUS**2 - off) - RADIUS
    faces = faces if up else faces[:, ::-1]
    lines = [f"v {x} {y} {z}" for x, y, z in points] + [f"f {a} {b} {c}" for a, b, c in faces + 1]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def overlap(pattern: Any, plan: Any, turn: float) -> float:
    """Share of a pattern that a plan covers, the pattern turned by an angle and both set on their centroids."""
    turned = affinity.rotate(pattern, turn, origin=(0, 0))
    moved = affinity.translate(turned, plan.centroid.x - turned.centroid.x, plan.centroid.y - turned.centroid.y)
    return float(moved.intersection(plan).area / moved.union(plan).area)


def laid(hatch: Hatch, tmp_path: Path, mould: str | None, up: bool, fabric: str, angle: float) -> Any:
    surface = {"mesh": str(dome(tmp_path / "flag.obj", up=up)), "unit": "m"}
    surface |= {} if mould is None else {"mould": mould}
    return read_part(hatch(surface=surface, ply=[{"fabric": fabric, "angle": angle}]))


MIRRORED = affinity.scale(FLAG, 1, -1, origin=(0, 0))


@pytest.mark.parametrize("up", [True, False])
@pytest.mark.parametrize("fabric", ["carbon unidirectional 200", "carbon plain 200"])
@pytest.mark.parametrize(
    ("mould", "towards", "plan"),
    [("male", 1.0, FLAG), ("female", -1.0, MIRRORED), ("facing (0, 0, 1)", 1.0, FLAG),
     ("facing (0, 0, -1)", -1.0, MIRRORED)],
)  # fmt: skip
def test_patterns_and_fibres_are_as_the_person_at_the_mould_sees_them(
    hatch: Hatch, tmp_path: Path, mould: str, towards: float, plan: Any, fabric: str, up: bool
) -> None:
    job = laid(hatch, tmp_path, mould, up, fabric, 30.0)
    (ply,) = flat_plies(job, widths=WIDE)
    # turned back by the ply's own angle the pattern is what is seen from the bag side, and no mirror image of it
    assert overlap(ply.outline, plan, 30.0) > 0.99
    assert overlap(ply.outline, affinity.scale(plan, 1, -1, origin=(0, 0)), 30.0) < 0.85
    assert ply.sides == (
        "seen from the bag side, looking at the mould",
        "this side to the bag, the other side to the mould",
    )
    # the fibres: +30 turns anticlockwise about the line of sight, whichever way the faces were drawn
    sight = np.array([0.0, 0.0, towards])
    x = np.array([1.0, 0.0, 0.0])
    wanted = math.cos(math.radians(30)) * x + math.sin(math.radians(30)) * np.cross(sight, x)
    net = drape_ply(job, job.part.plies()[0]).net
    assert float(net.warp @ wanted) > math.cos(math.radians(1.0))
    told = drape_ply(job, job.part.plies()[0]).as_json()["warp_angle_deg"]["mean"]
    assert told == approx(30.0, abs=0.5)
    # and the 0° arrow on the pattern turns back to the part's x axis
    (name, (across, down)) = ply.ways[0]
    assert (name, across, down) == ("0°", approx(math.cos(math.radians(30))), approx(-0.5))


def test_female_and_male_give_mirror_images(hatch: Hatch, tmp_path: Path) -> None:
    shapes = []
    for mould, angle in (("female", 30.0), ("male", -30.0)):
        (ply,) = flat_plies(laid(hatch, tmp_path, mould, True, "carbon unidirectional 200", angle), widths=WIDE)
        shapes.append(ply.outline)
    assert overlap(shapes[0], affinity.scale(shapes[1], 1, -1, origin=(0, 0)), 0.0) > 0.999
    assert overlap(shapes[0], shapes[1], 0.0) < 0.85


@pytest.mark.parametrize("fabric", ["carbon unidirectional 200", "carbon plain 200"])
def test_where_the_mould_is_not_given_the_papers_ask(hatch: Hatch, tmp_path: Path, fabric: str) -> None:
    job = laid(hatch, tmp_path, None, True, fabric, 30.0)
    (ply,) = flat_plies(job, widths=WIDE)
    assert ply.sides[0].startswith("MOULD SIDE NOT SAID")
    way = seen(job.surface, None)
    assert not way.known
    assert 'mould = "female"' in way.wanted
    space = ezdxf.readfile(write_dxf([ply], tmp_path / "p.dxf")).modelspace()
    words = [e.dxf.text for e in space if e.dxftype() == "TEXT"]
    assert any("MOULD SIDE NOT SAID" in word for word in words)
    assert "MOULD SIDE NOT SAID" in write_svg([ply], tmp_path / "p.svg").read_text(encoding="utf-8")


def test_female_says_nothing_of_a_flat_panel_and_facing_does(hatch: Hatch) -> None:
    drawing = {"outline": [[0, 0], [600, 0], [600, 120], [0, 400]], "unit": "mm"}
    for mould, known in ((None, False), ("female", False), ("facing (0, 0, 1)", True)):
        part = hatch(surface=drawing | ({} if mould is None else {"mould": mould}))
        way = seen(read_part(part).surface, mould)
        assert way.known is known
        assert ("facing (0, 0, 1)" in way.wanted) is not known


def test_a_flat_panel_seen_from_below_is_cut_as_its_mirror_image(hatch: Hatch) -> None:
    corners = [[0, 0], [600, 0], [600, 120], [0, 400]]
    plan = shapely.Polygon(np.array(corners) / 1e3)
    for mould, towards in (("facing (0, 0, 1)", 1), ("facing (0, 0, -1)", -1)):
        part = hatch(surface={"outline": corners, "unit": "mm", "mould": mould}, ply=[{"fabric": "carbon plain 200"}])
        (piece,) = cut([read_part(part)], seconds=0).fabrics[0].pieces
        seen_plan = affinity.scale(plan, 1, towards, origin=(0, 0))
        assert overlap(piece.shape, seen_plan, 0.0) > 0.999
        assert overlap(piece.shape, affinity.scale(seen_plan, 1, -1, origin=(0, 0)), 0.0) < 0.8


def arrows(drawn: Path) -> dict[str, NDArray[np.float64]]:
    """Direction of the arrow that follows each name in a drawing."""
    space = ezdxf.readfile(drawn).modelspace()
    shafts = [np.array([p[:2] for p in e.get_points()]) for e in space
              if e.dxf.layer == "ARROW" and not e.closed]  # fmt: skip
    found = {}
    for entity in space:
        if entity.dxftype() != "TEXT" or entity.dxf.text not in ("warp", "0°", "forward", "up", "warp = 0°"):
            continue
        at = np.array([entity.dxf.insert.x, entity.dxf.insert.y])
        right = [s for s in shafts if s[:, 0].min() > at[0]]
        shaft = min(right, key=lambda s: s[:, 0].min() - at[0])
        found[entity.dxf.text] = (shaft[1] - shaft[0]) / np.linalg.norm(shaft[1] - shaft[0])
    return found


def test_forward_and_up_are_drawn_where_the_part_says_them(hatch: Hatch, tmp_path: Path) -> None:
    surface = {"mesh": str(dome(tmp_path / "flag.obj", up=True)), "unit": "m", "mould": "female"}
    surface |= {"forward": [-1, 0, 0], "up": [0, 1, 0]}
    part = read_part(hatch(surface=surface, ply=[{"fabric": "carbon plain 200", "angle": 30}]))
    plies: tuple[FlatPly, ...] = flat_plies(part)
    drawn = arrows(write_dxf(plies, tmp_path / "p.dxf"))
    turn = math.radians(30.0)
    # in the frame of the warp; seen from below, the part's +y is to the right of its +x: clockwise
    assert drawn["warp"] == approx([1, 0])
    assert drawn["0°"] == approx([math.cos(turn), -math.sin(turn)], abs=0.01)
    assert drawn["forward"] == approx([-math.cos(turn), math.sin(turn)], abs=0.01)
    assert drawn["up"] == approx([-math.sin(turn), -math.cos(turn)], abs=0.01)


def test_mat_has_no_warp_and_says_so(hatch: Hatch, tmp_path: Path) -> None:
    surface = {"mesh": str(dome(tmp_path / "flag.obj", up=True)), "unit": "m", "mould": "female"}
    part = read_part(hatch(surface=surface, ply=[{"fabric": "glass chopped mat 450"}], process="wet"))
    plies = flat_plies(part)
    assert "no warp, any way round" in plies[0].title
    assert not arrows(write_dxf(plies, tmp_path / "p.dxf"))


@pytest.mark.parametrize(("mould", "said"), [("female", "Seen from the bag side"), (None, "MOULD SIDE NOT SAID")])
def test_the_sheet_says_it(tmp_path: Path, mould: str | None, said: str) -> None:
    dome(tmp_path / "flag.obj", up=True)
    line = "" if mould is None else f'mould = "{mould}"\n'
    (tmp_path / "flag.toml").write_text(
        'title = "Flag"\nprocess = "wet"\nresin = "epoxy, laminating"\n[surface]\nmesh = "flag.obj"\nunit = "m"\n'
        f'{line}[[ply]]\nfabric = "carbon unidirectional 200"\nangle = 30\n',
        encoding="utf-8",
    )
    paper = tmp_path / "sheet.html"
    done = CliRunner().invoke(main, ["sheet", str(tmp_path / "flag.toml"), "--out", str(paper)])
    assert done.exit_code == 0, done.output
    text = paper.read_text(encoding="utf-8")
    assert said in text
    assert "+30°" in text
    shown = CliRunner().invoke(main, ["patterns", str(tmp_path / "flag.toml")])
    assert said in " ".join(shown.output.split())


@pytest.mark.parametrize("mould", ["female", "male"])
def test_the_pictures_have_the_zero_arrow_the_sense_of_plus_axes_and_sizes(
    hatch: Hatch, tmp_path: Path, mould: str
) -> None:
    from matplotlib.figure import Figure

    job = laid(hatch, tmp_path, mould, True, "carbon plain 200", 30.0)
    axes = Figure().add_axes((0, 0, 1, 1))
    draw_shape(axes, job)
    view = view_of(job.surface, mould)
    draw_ways(axes, job.surface, view, 9.0, "metric", mould=mould, named={"forward": (0, 1, 0)})
    words = {text.get_text() for text in axes.texts}
    assert {"0°", "+", "x  600 mm", "y  450 mm", "forward"} <= words
    # the eye is on the bag side: in the hollow of the female mould, below this dome; above it on a male one
    assert (view[1] > 0.0) is (mould == "male")
    # and on the paper + turns anticlockwise
    lines = [np.asarray(line.get_xydata()) for line in axes.lines if len(line.get_xdata()) in (2, 24)]
    zero, arc = lines[0], lines[1]
    (a, b), (c, d) = zero[1] - zero[0], arc[-1] - zero[0]
    assert a * d - b * c > 0.0
