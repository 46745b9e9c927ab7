"""SVG: sheets within the sheet, symbols, units, transforms and what is not shown, against closed forms (1e-9).

The places of sheets within the sheet are worked out by hand from SVG 2 (W3C), chapter 8.
"""

from math import pi

import pytest

from layup.errors import SurfaceError
from layup.files.read_svg import read_svg

EXACT = 1e-9
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
SHEET = 'width="400mm" height="300mm" viewBox="0 0 400 300"'


def read(tmp_path, body, sheet=SHEET, **more):
    path = tmp_path / "part.svg"
    path.write_text(f"{HEAD}{sheet}>{body}</svg>")
    return read_svg(path, **more).surface()


def box(surface):
    low, high = surface.whole.box
    return [low[0] * 1e3, 300 - high[1] * 1e3, high[0] * 1e3, 300 - low[1] * 1e3]  # left, top, right, bottom


INNER = '<svg x="20" y="30" width="100" height="50" viewBox="10 20 {size}" {rule}><rect {rect}/></svg>'


@pytest.mark.parametrize(
    ("size", "rule", "want"),
    [
        # 20 x 20 in 100 x 50: meets at 2.5, in the middle across: 20 + (100 - 50) / 2 = 45
        ("20 20", "", [45, 30, 95, 80]),
        ("20 20", 'preserveAspectRatio="xMinYMid meet"', [20, 30, 70, 80]),
        ("20 20", 'preserveAspectRatio="xMaxYMid"', [70, 30, 120, 80]),
        ("20 20", 'preserveAspectRatio="none"', [20, 30, 120, 80]),
        # slice at 5: 100 high, from 30 - 25 in the middle
        ("20 20", 'preserveAspectRatio="xMidYMid slice"', [20, 5, 120, 105]),
        ("20 20", 'preserveAspectRatio="xMidYMin slice"', [20, 30, 120, 130]),
        ("20 20", 'preserveAspectRatio="xMidYMax slice"', [20, -20, 120, 80]),
        ("40 10", 'preserveAspectRatio="xMidYMax meet"', [20, 55, 120, 80]),
    ],
)
def test_a_sheet_within_the_sheet(tmp_path, size, rule, want):
    wide, high = size.split()
    rect = f'x="10" y="20" width="{wide}" height="{high}"'
    assert box(read(tmp_path, INNER.format(size=size, rule=rule, rect=rect))) == pytest.approx(want, abs=1e-9)


def test_a_symbol_used_twice_at_other_sizes(tmp_path):
    body = """<symbol id="s" viewBox="0 0 10 10"><circle cx="5" cy="5" r="5"/></symbol>
        <rect width="400" height="300"/><use href="#s" x="50" y="50" width="40" height="40"/>
        <use xlink:href="#s" x="200" y="100" width="80" height="20" transform="rotate(20 240 110)"/>
        <defs><symbol id="t"><rect x="1" y="1" width="6" height="4"/></symbol></defs><use href="#t" x="300" y="200"/>"""
    want = 0.12 - pi * 0.02**2 - pi * 0.01**2 - 24e-6
    assert read(tmp_path, body).whole.area == pytest.approx(want, rel=EXACT)


def test_a_symbol_without_a_size_fills_the_sheet(tmp_path):
    body = '<symbol id="s" viewBox="0 0 4 3"><rect width="4" height="3"/></symbol><use href="#s"/>'
    assert box(read(tmp_path, body)) == pytest.approx([0, 0, 400, 300], abs=1e-9)


def test_a_copy_of_a_copy_and_of_a_group(tmp_path):
    body = """<rect width="400" height="300"/><defs><g id="a" transform="scale(2)"><circle r="3"/></g>
        <use id="b" href="#a" x="10"/></defs><use href="#b" x="100" y="100"/><use href="#b" x="200" y="200"/>"""
    assert read(tmp_path, body).whole.area == pytest.approx(0.12 - 2 * pi * 0.006**2, rel=EXACT)


@pytest.mark.parametrize(
    ("sheet", "body", "want"),
    [
        (SHEET, '<rect width="50%" height="100%"/>', 0.2 * 0.3),
        (SHEET, '<circle cx="50%" cy="50%" r="10%"/>', pi * (0.1 * (0.4**2 + 0.3**2) ** 0.5 / 2**0.5) ** 2),
        ('width="4in" height="3in"', '<rect width="1in" height="72pt"/>', 0.0254**2),
        ('width="4in" height="3in"', '<rect width="96px" height="6pc"/>', 0.0254**2),
        ('width="4in" height="3in"', '<rect width="25.4mm" height="2.54cm"/>', 0.0254**2),
        ('width="4in" height="3in" viewBox="0 0 4 3"', '<rect width="1" height="1"/>', 0.0254**2),
        ('width="288pt" height="216pt" viewBox="0 0 288 216"', '<rect width="72" height="72"/>', 0.0254**2),
        ('width="24pc" height="18pc" viewBox="0 0 4 3"', '<rect width="1" height="1"/>', 0.0254**2),
        (SHEET, '<svg width="50%" height="50%"><rect width="50%" height="50%"/></svg>', 0.1 * 0.075),
    ],
)
def test_units_and_per_cents(tmp_path, sheet, body, want):
    assert read(tmp_path, body, sheet).whole.area == pytest.approx(want, rel=EXACT)


def test_turned_about_a_point_of_its_own(tmp_path):
    body = '<rect x="100" y="50" width="40" height="20" transform="rotate(90)" transform-origin="100 50"/>'
    assert box(read(tmp_path, body)) == pytest.approx([80, 50, 100, 90], abs=1e-9)


def test_what_is_not_shown_is_not_read(tmp_path):
    """By attribute, by style and by style sheet; and a box with neither line nor fill, as drawing programs leave it."""
    hidden = [
        '<circle cx="50" cy="50" r="9" style="display: none"/>',
        '<g display="none"><circle cx="60" cy="50" r="9"/></g>',
        '<circle class="gone" cx="70" cy="50" r="9"/>',
        '<circle id="lost" cx="80" cy="50" r="9"/>',
        '<use href="#k" display="none"/>',
    ]
    seen_as_hidden = [
        '<g visibility="hidden"><circle cx="90" cy="50" r="9"/></g>',
        '<circle class="bare" cx="100" cy="50" r="9"/>',
        '<rect x="-10" y="-10" width="420" height="320" fill="none"/>',
    ]
    body = f"""<style>.gone {{display:none}} #lost {{display: none}} .bare {{fill:none; stroke:none}}</style>
        <defs><circle id="k" cx="120" cy="120" r="9"/><clipPath id="c"><rect width="5" height="5"/></clipPath></defs>
        <clipPath id="d"><rect x="9" width="5" height="5"/></clipPath>
        <rect width="400" height="300" fill="url(#shade)"/>{"".join(hidden + seen_as_hidden)}"""
    surface = read(tmp_path, body)
    assert surface.whole.area == pytest.approx(0.12, rel=EXACT)
    found = {f.kind: f for f in surface.findings}
    assert found["hidden"].count == len(seen_as_hidden)


def test_a_clipped_shape_is_read_whole_and_says_so(tmp_path):
    body = '<clipPath id="d"><rect width="5" height="5"/></clipPath><rect width="40" height="30" clip-path="url(#d)"/>'
    surface = read(tmp_path, body)
    assert surface.whole.area == pytest.approx(0.0012, rel=EXACT)
    assert {f.kind: f for f in surface.findings}["clipped"].count == 1


def test_bombs_and_circles_of_copies(tmp_path):
    bomb = "".join(f'<g id="a{n}">' + f'<use href="#a{n - 1}"/>' * 10 + "</g>" for n in range(1, 12))
    symbols = "".join(
        f'<symbol id="a{n}" viewBox="0 0 9 9">' + f'<use href="#a{n - 1}"/>' * 10 + "</symbol>" for n in range(1, 12)
    )
    cases = {
        "more than 200,000 elements": f'<rect id="a0" width="9" height="9"/>{bomb}',
        "more than 200,000": f'<rect id="a0" width="9" height="9"/>{symbols}<use href="#a11"/>',
        "uses itself": '<symbol id="a"><use href="#b"/></symbol><g id="b"><use href="#a"/></g>',
        "too deep": "<g>" * 5000 + "<rect/>" + "</g>" * 5000,
        "no line in it": '<svg width="0" height="5" viewBox="0 0 1 1"><rect width="1" height="1"/></svg>',
    }
    for words, body in cases.items():
        with pytest.raises(SurfaceError, match=words):
            read(tmp_path, body)
