"""Templates read off photographs made from known truth (tests/photographs.py), and the printed sheet.

No photograph of a real table is among them: what stands here is that the reading finds what was drawn, through a camera
that the reader's model does not match, and that the uncertainty it states holds.
"""

import ezdxf
import numpy as np
import pytest
import shapely
from click.testing import CliRunner
from oracles.two_hundred import BARS, BOTH_SIDES, answers
from photographs import MM, Camera, Shape, page_path, photograph, sheet_picture, table
from polar_photographs import Made
from polar_photographs import photograph as polar

from layup.commands.cli import main
from layup.errors import LayupError, SurfaceError
from layup.files import photo_sheet
from layup.files.photo_sheet import PAPERS, SQUARE, print_scale, sheet_pdf

cv2 = pytest.importorskip("cv2", reason="photographs need OpenCV: pip install opencv-python-headless")

from layup.files.read_photo import open_picture, read_photo, write_outline  # noqa: E402

SHAPE = Shape()
BESIDE = ((1, 0.31, 0.36, 0.0),)


def saved(tmp_path, picture, name="photo.png"):
    cv2.imwrite(str(tmp_path / name), picture, [cv2.IMWRITE_PNG_COMPRESSION, 0])
    return tmp_path / name


@pytest.fixture(scope="module")
def plain():
    """One photograph of sheet and template."""
    return photograph(table(SHAPE, places=BESIDE), Camera(tilt=25, swing=40, sees=0.8))


# The sheet


@pytest.mark.parametrize("paper", sorted(PAPERS))
def test_the_sheet_is_printed_to_scale(paper):
    pdf = sheet_pdf(paper, 3)
    assert pdf == sheet_pdf(paper, 3)
    wide, high = (v * 1e3 * MM for v in PAPERS[paper])
    assert pdf.count(b"/Type /Page\n") == 3
    box = pdf.split(b"/MediaBox [")[1].split(b"]")[0].split()
    assert [float(v) for v in box[2:]] == pytest.approx([wide, high], abs=0.01)
    assert b"/PrintScaling /None" in pdf
    for page in range(3):
        path = np.concatenate(page_path(pdf, page)) / MM
        assert np.ptp(path, axis=0) == pytest.approx((6 * 28.0, 8 * 28.0), abs=0.01)  # 0.1 mm is asked for
        assert (path.min(axis=0) + path.max(axis=0)) / 2 == pytest.approx((wide / MM / 2, high / MM / 2), abs=0.01)
        text = [s for s in pdf.split(b"stream") if b"f*" in s][page].decode("latin-1").split("f*")[1]
        lines = [line.split() for line in text.splitlines() if line.endswith(" l S")]
        strokes = np.array([[float(v) for v in (*s[1:3], *s[4:6])] for s in lines]) / MM
        assert len(strokes) == 1 + 11 + 1 + 21
        length = np.hypot(*(strokes[:, 2:] - strokes[:, :2]).T)
        assert length[0] == pytest.approx(100.0, abs=0.01)
        assert length[12] == pytest.approx(200.0, abs=0.01)
        marks = strokes[1:12]
        assert np.ptp(marks[:, 0]) == pytest.approx(100.0, abs=0.01)  # between the outer marks
        assert np.ptp(strokes[13:, 1]) == pytest.approx(200.0, abs=0.01)
        inside = strokes.reshape(-1, 2)
        assert (inside > 5.0).all()
        assert (inside < np.array([wide, high]) / MM - 5.0).all()


def test_the_pattern_on_the_page_is_the_one_the_reader_looks_for():
    for number in range(1, 5):
        page = sheet_picture(number, "letter")
        seen = cv2.copyMakeBorder((page * 255).astype(np.uint8), 9, 9, 9, 9, cv2.BORDER_CONSTANT, value=255)
        marks, ids, _ = cv2.aruco.ArucoDetector(photo_sheet.board(number).getDictionary()).detectMarkers(seen)
        assert sorted(ids.ravel().tolist()) == list(range(24 * (number - 1), 24 * number))
        width = np.linalg.norm(marks[0][0][0] - marks[0][0][1])
        assert width * 0.5 == pytest.approx(0.75 * SQUARE * 1e3, rel=0.03)


def test_bars():
    assert print_scale("99.6 mm", None).across == pytest.approx(0.996)
    assert print_scale("99.6 mm", None).along == pytest.approx(0.996)
    both = print_scale("99.6 mm", '7 7/8"')
    assert both.along == pytest.approx(7.875 * 25.4 / 200)
    unknown = print_scale(None, None)
    assert unknown.spread > print_scale("100 mm", None).spread > both.spread > 0
    with pytest.raises(SurfaceError, match=r"wrong scale, 94\.2% of its size"):
        print_scale("94.2 mm", None)
    with pytest.raises(SurfaceError, match="bar B measures 210 mm"):
        print_scale(None, "210 mm")
    with pytest.raises(SurfaceError, match='write it as "100 mm"'):
        print_scale("99.6", None)
    with pytest.raises(SurfaceError, match='"a4"'):
        sheet_pdf("a44")
    with pytest.raises(SurfaceError, match="1 to 4"):
        sheet_pdf("a4", 5)


# Area, holes and what is stated about them


@pytest.mark.parametrize("swing", [20, 200])
def test_area_within_one_percent_at_strong_tilt(tmp_path, swing):
    camera = Camera(tilt=45, swing=swing, roll=swing + 10, sees=0.78, size=(1600, 1200), k1=-0.08, k2=0.02)
    photo = read_photo(saved(tmp_path, photograph(table(SHAPE, places=BESIDE, stray=0.00002), camera)), **BARS)
    assert photo.area == pytest.approx(SHAPE.area, rel=0.01)
    assert 40 < photo.plane.camera(np.array([0.3, 0.1]))[1] < 50
    assert 0.02 < photo.plane.lens < 0.08  # k1 = -0.08 at 0.62 focal lengths: about 0.05 outward at the corner
    assert len(photo.holes) == 3


def test_sheets_at_both_sides_tell_more(tmp_path):
    camera = Camera(tilt=45, swing=70, sees=1.03, middle=(0.72, 0.51), size=(1800, 1350), k1=-0.08, k2=0.02)
    photo = read_photo(saved(tmp_path, photograph(table(SHAPE, places=BOTH_SIDES), camera)), **BARS)
    assert photo.area == pytest.approx(SHAPE.area, rel=0.005)
    assert photo.plane.sheets in ((1, 2), (2, 1))
    assert photo.causes["lens"] < 0.005
    assert photo.area_tolerance < 0.012
    # shape and place of the cut-outs: the symmetric difference with the truth, moved and turned onto it
    made = shapely.Polygon(photo.outline, photo.holes)
    assert made.is_valid
    true = SHAPE.polygon
    if photo.plane.sheets[0] == 2:  # the second sheet lies turned by 170 degrees, and the outline lies as it does
        made = shapely.affinity.rotate(made, 170.0)
    c, d = made.centroid, true.centroid
    made = shapely.affinity.translate(made, d.x - c.x, d.y - c.y)
    assert made.symmetric_difference(true).area < 0.01 * true.area


def test_the_stated_interval_holds(tmp_path):
    """In at least 85 of 100 photographs the true area lies within the tolerance stated for nine in ten.

    A draw of lenses, places, lights and papers by fixed numbers; the print strays by 0.04 mm on top of its scale.
    """
    draw = np.random.default_rng(20)
    held, off, stated = [], [], []
    for number in range(24):
        scene = table(SHAPE, stray=0.00004, grain=number // 8)
        camera = Camera(
            tilt=draw.uniform(0, 45), swing=draw.uniform(0, 360), roll=draw.uniform(-20, 20) + 180 * (number % 2),
            k1=draw.normal(-0.03, 0.06), k2=draw.normal(0, 0.03), axis=tuple(draw.normal(0, 0.012, 2)),
            focal=draw.uniform(0.68, 0.9), sees=draw.uniform(0.78, 0.88), middle=(0.6, 0.51),
            slope=tuple(draw.uniform(-0.3, 0.3, 2)),
            blur=draw.uniform(0.3, 1.0), seed=number, size=(900, 675),
        )  # fmt: skip
        photo = read_photo(saved(tmp_path, photograph(scene, camera)), **BARS)
        off.append(photo.area / SHAPE.area - 1.0)
        stated.append(photo.area_tolerance)
        held.append(abs(photo.area - SHAPE.area) <= photo.area_tolerance * photo.area)
    assert np.mean(held) >= 0.85
    assert np.sqrt(np.mean(np.square(off))) < 0.012
    assert np.median(stated) < 0.03  # an interval that always holds because it is endless would be no use
    assert np.median(stated) < 8 * np.median(np.abs(off))


def test_uncertainty_grows_away_from_the_sheet(plain, tmp_path):
    photo = read_photo(saved(tmp_path, plain))
    ring = np.array([[0.0, 0.0], [0.1, 0.0], [0.1, 0.1], [0.0, 0.1]])
    near = photo.plane.area_spreads([photo.plane.to_picture(ring + np.array([0.03, 0.06]))])
    far = photo.plane.area_spreads([photo.plane.to_picture(ring + np.array([0.45, 0.06]))])
    assert far[0] > near[0]
    assert far[1] > 5 * near[1]
    checked = read_photo(tmp_path / "photo.png", **BARS)
    assert checked.area_tolerance < photo.area_tolerance
    assert any(f.kind == "printer" for f in photo.findings)
    assert not any(f.kind == "printer" for f in checked.findings)


def test_plane_and_picture_are_each_others_inverse(plain, tmp_path):
    plane = read_photo(saved(tmp_path, plain)).plane
    there = np.random.default_rng(3).uniform((50, 50), (950, 700), (200, 2))
    assert plane.to_picture(plane.to_plane(there)) == pytest.approx(there, abs=1e-3)


def test_a_printer_that_prints_small(plain, tmp_path):
    path = saved(tmp_path, plain)
    whole = read_photo(path, **BARS).area
    assert read_photo(path, bar="99 mm").area == pytest.approx(whole * 0.99**2, rel=2e-5)
    # one that prints unevenly: 416 of 420 points across, 591 of 594 along
    uneven = photograph(table(SHAPE, places=BESIDE, printed=(416, 591)), Camera(tilt=25, swing=40, sees=0.8))
    across, along = 100 * 416 / 420, 200 * 591 / 594
    photo = read_photo(saved(tmp_path, uneven), bar=f"{across:.2f} mm", bar_along=f"{along:.2f} mm")
    assert photo.area == pytest.approx(SHAPE.area, rel=photo.area_tolerance)
    assert abs(read_photo(tmp_path / "photo.png", **BARS).area / SHAPE.area - 1) > abs(photo.area / SHAPE.area - 1)


def test_dark_card_on_a_light_table(tmp_path):
    scene = table(SHAPE, tone=0.12, ground=0.6)
    photo = read_photo(saved(tmp_path, photograph(scene, Camera(sees=0.8))), **BARS)
    assert photo.area == pytest.approx(SHAPE.area, rel=photo.area_tolerance)
    assert len(photo.holes) == 3


def test_pen_marks_are_no_holes(plain, tmp_path):
    marked = plain.copy()
    photo = read_photo(saved(tmp_path, plain))
    a, b = (
        tuple(int(v) for v in p) for p in photo.plane.to_picture(np.array([[0.1, 0.1], [0.15, 0.1]]) + photo.corner)
    )
    cv2.line(marked, a, b, (60, 60, 60), 1)
    again = read_photo(saved(tmp_path, marked))
    assert len(again.holes) == 3
    assert again.area == pytest.approx(photo.area, rel=1e-3)
    assert any(f.kind == "marks" for f in again.findings)


# Shadows, hands, prints that nobody measured


def held(tmp_path, made):
    """Whether the stated share holds the truth; None where another picture is asked for."""
    try:
        photo = read_photo(saved(tmp_path, polar(made)), **made.bars)
    except SurfaceError:
        return None
    return abs(photo.area - made.area) <= photo.area_tolerance * made.area


@pytest.mark.parametrize(("kind", "seed"), [("phone", 1), ("phone", 4), ("hand", 4), ("edge", 4), ("hand", 5)])
def test_a_shadow_is_recognised_or_does_no_harm(tmp_path, kind, seed):
    """The first three were 15, 21 and 8 % wrong with 2 % stated; the last two shadows leave the edge where it is."""
    made = Made(seed, shadow=kind, depth=(0.35, 0.5, 0.25)[seed % 3], soft=(0.002, 0.02, 0.06)[seed % 3])
    assert held(tmp_path, made) is (None if seed in (1, 4) and kind != "edge" else True)


def test_points_left_on_a_round_edge_take_no_area(tmp_path):
    """The corners kept of a round line lay on it, and the chords between them took 0.5 % of a small template."""
    made = Made(3)
    made.tilt, made.lens, made.scale, made.read, made.light = 0.0, 0.0, (1.0, 1.0), (1.0, 1.0), np.zeros(2)
    photo = read_photo(saved(tmp_path, polar(made)), **made.bars)
    assert photo.area == pytest.approx(made.area, rel=0.002)


def test_a_print_that_nobody_measured_may_be_fitted_to_the_page(tmp_path):
    made = Made(0)
    made.scale = (0.97, 0.97)
    photo = read_photo(saved(tmp_path, polar(made)))
    assert photo.area == pytest.approx(made.area / 0.97**2, rel=0.02)
    assert abs(photo.area / made.area - 1.0) <= photo.area_tolerance


def test_some_of_the_two_hundred_photographs():
    """The first four of each maker; oracles/two_hundred.py reads all, and docs/template-by-photo.md has its table."""
    found = list(answers(4))
    read = [one for one in found if one.off is not None]
    assert all(one.holds for one in read)
    assert len(read) >= 0.6 * len(found)


# Out of it


@pytest.mark.parametrize("kind", ["csv", "dxf"])
def test_the_file_of_the_outline_is_read_back(plain, tmp_path, kind):
    from layup.files.read_dxf import read_dxf
    from layup.files.read_points import read_points

    photo = read_photo(saved(tmp_path, plain))
    path = write_outline(photo, tmp_path / f"outline.{kind}")
    surface = (read_points(path) if kind == "csv" else read_dxf(path)).surface()
    assert surface.whole.area == pytest.approx(photo.area, rel=1e-4)  # a thousandth of a millimetre is written
    assert photo.surface().whole.area == pytest.approx(photo.area, rel=1e-9)
    assert surface.perimeter == pytest.approx(photo.surface().perimeter, rel=1e-4)
    if kind == "dxf":
        assert len(ezdxf.readfile(path).modelspace().query("LWPOLYLINE")) == 4
    with pytest.raises(LayupError, match=r"\.csv or \.dxf"):
        write_outline(photo, tmp_path / "outline.txt")


def test_command(plain, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    saved(tmp_path, plain)
    run = CliRunner().invoke(main, ["template", "sheet", "sheet.pdf", "--paper", "letter"])
    assert run.exit_code == 0
    assert "100 %" in run.output
    assert (tmp_path / "sheet.pdf").read_bytes() == sheet_pdf("letter")
    told = ["template", "read", "photo.png", "--bar", "99.8 mm", "--out", "o.csv", "--picture", "check.png"]
    run = CliRunner().invoke(main, told)
    assert run.exit_code == 0, run.output
    assert "less 3 cut-outs" in run.output
    assert "nine times in ten within" in run.output
    check = cv2.imread(str(tmp_path / "check.png"))
    orange = (np.abs(check.astype(int) - (43, 80, 181)).max(axis=2) < 12).sum()  # the line's colour, blue first
    assert orange > 1000
    assert CliRunner().invoke(main, ["template", "sheet", "sheet.txt"]).exit_code == 2
    assert CliRunner().invoke(main, ["template", "read", "photo.png", "--picture", "check.doc"]).exit_code == 2


# What is wrong, said


def refused(tmp_path, picture, words, **more):
    with pytest.raises(SurfaceError, match=words) as fault:
        read_photo(saved(tmp_path, picture), **more)
    assert "photo.png" in str(fault.value)
    assert fault.value.remedy


def test_what_can_be_wrong_with_the_sheet(plain, tmp_path):
    refused(tmp_path, np.full_like(plain, 90), "no marker of the sheet is found")
    refused(tmp_path, plain[:, ::-1], "mirrored")
    covered = plain.copy()
    seen = read_photo(saved(tmp_path, plain)).plane
    low = seen.to_picture(np.array([[-0.03, -0.04], [0.2, -0.04], [0.2, 0.155], [-0.03, 0.155]]))
    cv2.fillPoly(covered, [low.round().astype(np.int32)], (40, 40, 40))
    refused(tmp_path, covered, "only .* corners of a sheet|only .* of the sheet's 24 markers")
    twice = photograph(
        table(SHAPE, places=((1, 0.31, 0.36, 0.0), (1, 1.2, 0.70, 170.0))),
        Camera(sees=1.0, middle=(0.72, 0.51), size=(1400, 1050)),
    )
    refused(tmp_path, twice, "sheet 1 lies there twice")
    with pytest.raises(SurfaceError, match="wrong scale"):
        read_photo(tmp_path / "photo.png", bar="95 mm")


def test_what_can_be_wrong_with_the_template(plain, tmp_path):
    refused(tmp_path, plain[:, :-330], r"cut by the frame of the picture \(right\)")
    faint = photograph(table(SHAPE, tone=0.095, ground=0.09), Camera(sees=0.8))
    refused(tmp_path, faint, "stands out")
    absent = photograph(table(Shape(0.004, 0.004, 0.001, (), None)), Camera(sees=0.8))
    refused(tmp_path, absent, "stands out")
    over = photograph(table(SHAPE, at=(0.50, 0.40)), Camera(sees=0.8))
    refused(tmp_path, over, "touches the sheet")


def test_what_is_no_picture(tmp_path):
    (tmp_path / "photo.jpg").write_bytes(b"\xff\xd8\xff\xe0 and no more")
    (tmp_path / "note.txt").write_text("not a picture")
    for name in ("photo.jpg", "note.txt"):
        with pytest.raises(SurfaceError, match="not a picture"):
            open_picture(tmp_path / name)
    cv2.imwrite(str(tmp_path / "whole.jpg"), np.full((300, 400, 3), 90, np.uint8))
    data = (tmp_path / "whole.jpg").read_bytes()
    assert open_picture(tmp_path / "whole.jpg")[0].shape == (300, 400, 3)
    draw = np.random.default_rng(8)
    for _ in range(60):  # cut short or with bytes changed: a picture or a clear refusal
        broken = bytearray(data[: draw.integers(1, len(data))] if draw.random() < 0.5 else data)
        for at in draw.integers(0, len(broken), draw.integers(0, 6)):
            broken[at] = draw.integers(256)
        (tmp_path / "broken.jpg").write_bytes(broken)
        try:
            open_picture(tmp_path / "broken.jpg")
        except SurfaceError as fault:
            assert "not a picture that can be read" in str(fault) or "million pixels" in str(fault)  # noqa: PT017
    with pytest.raises(SurfaceError, match=r'no such picture. Nearest: "photo.jpg"'):
        open_picture(tmp_path / "foto.jpg")
    with pytest.raises(SurfaceError, match="a folder"):
        open_picture(tmp_path)


def test_without_opencv(monkeypatch):
    def missing(name):
        raise ImportError(name)

    monkeypatch.setattr(photo_sheet, "import_module", missing)
    with pytest.raises(SurfaceError, match="pip install opencv-python-headless"):
        sheet_pdf("a4")


def test_the_focal_length_of_the_file(plain, tmp_path):
    from PIL import Image

    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 27
    Image.fromarray(plain[:, :, ::-1]).save(tmp_path / "exif.jpg", exif=exif, quality=95)
    assert open_picture(tmp_path / "exif.jpg")[1] == pytest.approx(27 / np.hypot(36, 24), rel=1e-3)
    known, unknown = read_photo(tmp_path / "exif.jpg", **BARS), read_photo(saved(tmp_path, plain), **BARS)
    assert known.causes["lens"] < unknown.causes["lens"]
    assert known.area == pytest.approx(SHAPE.area, rel=known.area_tolerance)
