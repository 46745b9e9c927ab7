"""The picture and the page of a surface: what they hold, and that the page asks nothing of the network."""

import base64
import json
import re

import numpy as np
import pytest

from layup.errors import LayupError, SurfaceError
from layup.files.read import read_surface
from layup.report.surface_html import surface_html
from layup.report.surface_marks import facts, marks_of
from layup.report.surface_picture import draw_surface
from layup.shape.flat import from_area, outline
from layup.shape.surface import Finding, Surface


def report(path, unit=None, side=None):
    return read_surface(path, unit=unit, side=side, thorough=True)


@pytest.fixture(scope="module")
def solid():
    from conftest import EXAMPLES  # its fixture serves one test at a time

    return report(EXAMPLES / "motor-glider" / "engine-bay-door-solid.stl", "mm", "outer")


def page_data(text):
    return json.loads(re.search(r'<script id="data" type="application/json">(.*?)</script>', text, re.DOTALL).group(1))


def test_picture(tmp_path, solid):
    from matplotlib.image import imread

    path = draw_surface(solid, tmp_path / "door.png")
    picture = imread(path)[:, :, :3]
    blue = (picture[:, :, 2] > picture[:, :, 0] + 0.1).mean()
    assert 0.1 < blue < 0.5
    with pytest.raises(LayupError, match="End its name"):
        draw_surface(solid, tmp_path / "door.jpg")


def test_picture_of_a_bad_mesh_marks_its_seam(tmp_path):
    from matplotlib.colors import to_rgb
    from matplotlib.image import imread

    from layup.report.surface_marks import SEAM

    p = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0], [0, -1, 0], [1, -1, 0], [0, 0, 1], [1, 0, 1.0]])
    f = np.array([[0, 1, 3], [0, 3, 2], [0, 4, 5], [0, 5, 1], [0, 1, 7], [0, 7, 6]])
    from layup.shape.measure import measure_triangles

    tee = Surface("tee <b>", measure_triangles(p[f]), lambda: (p, f), findings=(Finding("x", 1, "odd & <i>", 0.5),))
    picture = imread(draw_surface(tee, tmp_path / "t.png"))[:, :, :3]
    assert (np.abs(picture - to_rgb(SEAM)).max(axis=2) < 0.02).sum() > 100
    page = surface_html(tee, tmp_path / "t.html").read_text()
    assert "tee &lt;b&gt;" in page
    assert "Odd &amp; &lt;i&gt; <b>+0.5 m²</b>" in page


def test_page_holds_everything_and_fetches_nothing(tmp_path, solid):
    text = surface_html(solid, tmp_path / "door.html").read_text()
    assert not re.search(r"https?://|<link|\ssrc=|@import|fetch\(|XMLHttp", text)
    assert "{{" not in text
    data = page_data(text)
    counts, left = data["solids"]
    assert counts["count"] == 3 * len(solid.faces)
    assert left["count"] == 3 * len(solid.left_out[1])
    faces = np.frombuffer(base64.b64decode(counts["faces"]), dtype="<u4").reshape(-1, 3)
    points = np.frombuffer(base64.b64decode(counts["points"]), dtype="<f4").reshape(-1, 3)
    corners = points[faces].astype(float)
    area = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum()
    assert area == pytest.approx(solid.whole.area, rel=1e-5)
    assert [label[0] for label in data["labels"]] == ["1", "2", "3", "4", "5", "6"]
    for finding in solid.findings:
        assert finding.text[1:40] in text


def test_marks_and_facts():
    panel = outline([(0, 0), (1, 0), (1, 0.6), (0, 0.6)], [[(0.4, 0.2), (0.6, 0.2), (0.6, 0.4), (0.4, 0.4)]])
    marks = marks_of(panel)
    assert [word for _, word in marks.keys] == ["outer edge", "cut-outs, by number"]
    assert [len(lines) for _, lines in marks.lines] == [4, 4]
    assert marks.labels[0][0] == "1"
    assert marks.labels[0][1] == pytest.approx((0.5, 0.3, 0.0))
    assert dict(facts(panel))["area"] == "0.56 m²"
    assert dict(facts(panel))["all free edges"] == "4 m"


def test_no_picture_of_a_number(tmp_path):
    with pytest.raises(SurfaceError, match="only its area is known"):
        draw_surface(from_area(0.5), tmp_path / "a.png")
