"""SVG drawings against closed forms.

Circles, ellipses, rounded corners and elliptic arcs are drawn so that their area is exact; tolerance 1e-9, but 1e-7
for arcs of paths, whose centres the reading library finds to about 1e-8, and for Bezier curves 2e-5.
"""

import random
from math import pi

import numpy as np
import pytest

from layup.errors import SurfaceError
from layup.files.read_svg import read_svg

EXACT, ARC, BEZIER = 1e-9, 1e-7, 2e-5
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
INK = 'xmlns:inkscape="http://www.inkscape.org/namespaces/inkscape" '
SHEET = 'width="400mm" height="300mm" viewBox="0 0 400 300"'


def svg(tmp_path, body, sheet=SHEET, name="part.svg", head=HEAD):
    path = tmp_path / name
    path.write_text(f"{head}{sheet}>{body}</svg>")
    return path


def area(tmp_path, body, sheet=SHEET, **more):
    return read_svg(svg(tmp_path, body, sheet), **more).surface().whole.area


def kinds(surface):
    return {f.kind: f for f in surface.findings}


@pytest.mark.parametrize(
    ("body", "want", "within"),
    [
        ('<circle cx="100" cy="100" r="60"/>', pi * 0.06**2, EXACT),
        ('<ellipse cx="100" cy="100" rx="60" ry="20" transform="rotate(33)"/>', pi * 0.06 * 0.02, EXACT),
        ('<rect x="10" y="10" width="200" height="100" rx="20" ry="10"/>', 0.02 - (4 - pi) * 0.02 * 0.01, EXACT),
        ('<rect x="10" y="10" width="200" height="100" rx="20"/>', 0.02 - (4 - pi) * 0.02**2, EXACT),
        ('<rect width="200" height="100"/>', 0.02, EXACT),
        ('<polygon points="0,0 200,0 200,100"/>', 0.01, EXACT),
        ('<path d="M50 100 A 50 50 0 0 1 150 100 Z"/>', pi * 0.05**2 / 2, ARC),
        ('<path d="m 50 100 a 50 25 30 1 0 50 0 a 50 25 30 0 0 -50 0"/>', None, ARC),
        ('<path d="M0 0 Q 50 100 100 0 Z"/>', 2 / 3 * 0.1 * 0.05, BEZIER),
        ('<path d="M0 0 C 0 100 100 100 100 0 Z"/>', 0.1 * 0.075 * 0.8, BEZIER),
        ('<path d="M10 10 H 110 V 60 h -100 z m 10 10 h 20 v 20 h -20 z"/>', 0.005 - 0.0004, EXACT),
    ],
)
def test_shapes(tmp_path, body, want, within):
    if want is None:  # the two arcs are the two parts of one whole ellipse
        want = pi * 0.05 * 0.025
    assert area(tmp_path, body) == pytest.approx(want, rel=within)


def test_transforms_and_use(tmp_path):
    body = """<rect width="390" height="290"/><defs><circle id="c" r="10"/></defs>
        <g transform="translate(100 100) skewX(20) scale(1 2)"><use href="#c" x="20" y="5"/></g>
        <use xlink:href="#c" transform="matrix(3 1 0.5 2 200 200)"/>"""
    want = 0.39 * 0.29 - pi * 1e-4 * (2 + (3 * 2 - 1 * 0.5))
    surface = read_svg(svg(tmp_path, body)).surface()
    assert surface.whole.area == pytest.approx(want, rel=EXACT)
    assert kinds(surface)["cut-outs"].count == 2


@pytest.mark.parametrize(
    ("sheet", "scale"),
    [
        ('width="400mm" height="300mm" viewBox="0 0 400 300"', 1e-3),
        ('width="40cm" height="30cm" viewBox="0 0 800 600"', 0.5e-3),
        ('width="10in" height="5in" viewBox="-5 -5 20 10"', 0.0127),
        ('width="10in" viewBox="0 0 20 10"', 0.0127),
        ('width="720pt" height="720pt"', 0.0254 / 96),
        ('width="400mm" height="400mm" viewBox="0 0 400 100"', 1e-3),  # meets: the smaller scale
        ('width="400mm" height="400mm" viewBox="0 0 400 100" preserveAspectRatio="xMidYMid slice"', 4e-3),
    ],
)
def test_units_of_the_sheet(tmp_path, sheet, scale):
    assert area(tmp_path, '<rect x="1" y="1" width="4" height="2"/>', sheet) == pytest.approx(8 * scale**2, rel=EXACT)


def test_sheet_stretched_unevenly(tmp_path):
    sheet = 'width="400mm" height="400mm" viewBox="0 0 400 100" preserveAspectRatio="none"'
    assert area(tmp_path, '<circle r="10" cx="50" cy="50"/>', sheet) == pytest.approx(pi * 1e-4 * 4, rel=EXACT)


def test_y_is_up_from_the_lower_edge(tmp_path):
    surface = read_svg(svg(tmp_path, '<rect x="10" y="250" width="100" height="40"/>')).surface()
    assert surface.whole.box[0] == pytest.approx((0.01, 0.01, 0.0), abs=1e-12)
    assert surface.whole.box[1] == pytest.approx((0.11, 0.05, 0.0), abs=1e-12)


@pytest.mark.parametrize("sheet", ["", 'width="620" height="380"', 'width="100%" viewBox="0 0 620 380"'])
def test_no_unit_asks_and_shows_three_readings(tmp_path, sheet):
    path = svg(tmp_path, '<rect width="620" height="380"/>', sheet)
    with pytest.raises(SurfaceError) as caught:
        read_svg(path)
    for words in ("no unit", "620 x 380 mm", "15.75 x 9.652 m", "in m 620 x 380 m", 'Add unit = "mm"'):
        assert words in str(caught.value)
    assert read_svg(path, unit="mm").surface().whole.area == pytest.approx(0.62 * 0.38, rel=EXACT)


def test_unit_that_disagrees(tmp_path):
    path = svg(tmp_path, '<rect width="200" height="100"/>')
    assert read_svg(path, unit="mm").surface().whole.area == pytest.approx(0.02, rel=EXACT)
    with pytest.raises(SurfaceError, match=r'unit = "in" was given, but the file says so: its sheet is 400 x 300 mm'):
        read_svg(path, unit="in")


def test_layers_of_groups(tmp_path):
    body = """<g inkscape:groupmode="layer" inkscape:label="Trim" id="l1"><g id="g7">
        <rect width="200" height="100"/></g></g>
        <g inkscape:groupmode="layer" inkscape:label="Ply 2" id="l2"><circle cx="50" cy="50" r="20"/></g>
        <g id="holes"><rect x="100" y="20" width="10" height="10"/></g>"""
    drawing = read_svg(svg(tmp_path, body, head=HEAD + INK))
    assert drawing.layers == ("Trim", "Ply 2", "holes")
    surface = drawing.surface()
    assert surface.whole.area == pytest.approx(0.02 - 1e-4, rel=EXACT)
    assert surface.zone({"group": "Ply 2"}).area == pytest.approx(pi * 0.02**2, rel=1e-8)


def test_countersinks_doubles_and_loose_lines(tmp_path):
    body = """<path d="M0 0 H 200"/><path d="M200 100 V 0"/><polyline points="200,100 0,100 0,0"/>
        <circle cx="50" cy="50" r="3"/><circle cx="50" cy="50" r="6"/><circle cx="50" cy="50" r="6"/>
        <line x1="120" y1="20" x2="180" y2="80"/>"""
    surface = read_svg(svg(tmp_path, body)).surface()
    assert surface.whole.area == pytest.approx(0.02 - pi * 0.003**2, rel=EXACT)
    found = kinds(surface)
    assert found["countersinks"].count == found["duplicate"].count == found["open"].count == 1


def test_what_is_not_shown_is_not_read(tmp_path):
    body = """<rect width="200" height="100"/><clipPath id="k"><rect width="5" height="5"/></clipPath>
        <mask id="m"><circle r="3" cx="20" cy="20"/></mask><g style="display:none"><circle r="9" cx="50" cy="50"/></g>
        <pattern id="p"><rect width="3" height="3"/></pattern><defs><circle r="8" cx="40" cy="40"/></defs>
        <symbol id="s"><circle r="8" cx="40" cy="40"/></symbol><text x="5" y="5">skin</text>"""
    surface = read_svg(svg(tmp_path, body)).surface()
    assert surface.whole.area == pytest.approx(0.02, rel=EXACT)
    assert "1 text" in kinds(surface)["left out"].text


def test_what_can_not_be_read(tmp_path):
    bomb = "".join(f'<g id="a{n}">' + f'<use href="#a{n - 1}"/>' * 10 + "</g>" for n in range(1, 12))
    cases = {
        "no line in it": "<text>x</text>",
        "crosses or touches itself at \\(50 mm, 250 mm\\)": '<polygon points="0,0 100,100 100,0 0,100"/>',
        'use> of "a" uses itself': '<g id="a"><use href="#a"/></g>',
        "which is not in the file": '<use href="#b"/>',
        "neither line nor fill": '<rect width="9" height="9" fill="none"/>',
        "more than 200,000 elements": f'<rect id="a0" width="9" height="9"/>{bomb}',
        "no line in it closes": '<path d="M0 0 L 50 0 L 50 50"/>',
    }
    for words, body in cases.items():
        with pytest.raises(SurfaceError, match=words):
            read_svg(svg(tmp_path, body)).surface()


def test_foreign_truncated_and_dangerous_files(tmp_path):
    cases = {
        "empty": b"",
        "not SVG": b"hello",
        "damaged or cut short at line 1": f"{HEAD}{SHEET}><rect".encode(),
        "root is <html>": b"<html/>",
        "compressed": b"\x1f\x8b\x08",
        "defines entities": b'<!DOCTYPE s [<!ENTITY a "aaaa">]><svg xmlns="http://www.w3.org/2000/svg">&a;</svg>',
        "no size": b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 0 5"/>',
    }
    for words, data in cases.items():
        (tmp_path / "x.svg").write_bytes(data)
        with pytest.raises(SurfaceError, match=words):
            read_svg(tmp_path / "x.svg")
    with pytest.raises(SurfaceError, match="can't be read"):
        read_svg(tmp_path / "none.svg")


def test_hundred_damaged_files(tmp_path):
    body = """<g id="trim" transform="rotate(3) scale(1.1)"><rect x="10" y="10" width="300" height="200" rx="9"/>
        <path d="M50 60 A 20 10 30 1 1 90 60 C 95 65 90 90 70 90 Q 40 80 50 60 Z"/><use href="#c" x="9"/></g>
        <defs><circle id="c" cx="200" cy="100" r="12"/></defs><polygon points="100,150 120,150 110,170"/>"""
    data = svg(tmp_path, body).read_bytes()
    rng, path, said = random.Random(3), tmp_path / "f.svg", []
    numbers = [b"1e308", b"nan", b"-5", b"99999999999", b"inf", b"x", b"0", b"", b"1e-300"]
    for number in range(100):
        out = bytearray(data)
        if number % 3 == 0:
            for _ in range(rng.randint(1, 4)):
                out[rng.randrange(len(out))] = rng.randrange(32, 256)
        elif number % 3 == 1:
            from re import finditer

            for _ in range(rng.randint(1, 3)):
                spots = list(finditer(rb"[0-9.]+", bytes(out)))
                spot = rng.choice(spots[4:])
                out[spot.start() : spot.end()] = rng.choice(numbers)
        else:
            at = rng.randrange(len(out))
            del out[at : at + rng.randint(1, 60)]
        path.write_bytes(bytes(out))
        try:
            assert np.isfinite(read_svg(path).surface().whole.area)
        except SurfaceError as problem:
            said.append(str(problem))
    assert len(said) > 20
    assert all(words.startswith(str(path)) for words in said)


def test_arc_of_a_skewed_path_keeps_its_area(tmp_path):
    body = '<path transform="skewX(35)" d="M50 100 A 50 30 0 1 1 150 100 A 50 30 0 0 1 50 100 Z"/>'
    assert area(tmp_path, body) == pytest.approx(pi * 0.05 * 0.03, rel=ARC)


def test_relative_steps_that_come_back_but_for_round_off(tmp_path):
    """Of 200 hexagons drawn by relative steps of four decimals 41 were refused as crossing themselves."""
    rng = np.random.default_rng(4)
    for number in range(40):
        turn = np.sort(rng.uniform(0.0, 2.0 * np.pi, 6))
        corners = np.round(500.0 + rng.uniform(150.0, 480.0, 6)[:, None] * np.c_[np.cos(turn), np.sin(turn)], 4)
        steps = np.diff(np.concatenate([corners, corners[:1]]), axis=0)
        path = tmp_path / f"{number}.svg"
        words = " ".join(f"{x:.4f},{y:.4f}" for x, y in steps)
        path.write_text(
            '<svg xmlns="http://www.w3.org/2000/svg" width="1000mm" height="1000mm" viewBox="0 0 1000 1000">'
            f'<path d="m {corners[0, 0]:.4f},{corners[0, 1]:.4f} {words} z"/></svg>'
        )
        x, y = corners.T
        due = abs(float((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())) * 0.5e-6
        assert read_svg(path).surface().whole.area == pytest.approx(due, rel=1e-9)
