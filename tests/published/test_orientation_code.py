# Source: US Army TM 1-1500-204-23-11, Aviation Unit and Intermediate Maintenance for Army aircraft, composites,
# paragraph 5-7 "Laminate orientation code" (which names ASTM D6507 and CMH-17): rules as read there; the examples
# are ours, built from the rules, since its figures 5-17 and 5-18 were not at hand.
# A second source for sign and listing rules: US Navy NAVEDTRA 14018, chapter 14, "[+45/45/+45/-45]" and "(+-45) = +45,
# -45". From memory: MIL-HDBK-17-2F section 1.6.1 for the subscripts T, S, nS. No tolerance: plies are counted.
import pytest

from layup.laminate.orientation import StackPly, parse_stack


def angles(code):
    return [ply.angle for ply in parse_stack(code)]


RULES = [
    ("plies are listed from one face to the other, a slash between them", "[0/45/90]", [0, 45, 90]),
    ("without a subscript on the brackets the T is assumed", "[0/45/90]T", [0, 45, 90]),
    ("adjacent plies of one angle: a numerical subscript", "[0_2/45]", [0, 0, 45]),
    ("each + or - sign is one ply, the first sign is the first ply", "[±45]", [45, -45]),
    ("minus on top: the minus ply is first", "[∓45]", [-45, 45]),
    ("signs in typewriter form", "[+-45/-+30]", [45, -45, -30, 30]),
    ("condensed signs in a row", "[±∓45]", [45, -45, -45, 45]),
    ("an odd sign is left uncombined", "[±+45]", [45, -45, 45]),
    ("S: one half is listed, to the plane of symmetry", "[0/45/90]S", [0, 45, 90, 90, 45, 0]),
    ("odd: the centre ply is listed last with a line above", "[0/45/90\u0305]S", [0, 45, 90, 45, 0]),
    ("the same, as it can be typed", "[0/45/90bar]S", [0, 45, 90, 45, 0]),
    ("line and subscript: half plies on either side of the centre", "[0/90bar_3]S", [0, 90, 90, 90, 0]),
    ("a set in parentheses is repeated by its subscript", "[(0/45/90)_2]", [0, 45, 90, 0, 45, 90]),
    ("a number and S: the sets are repeated, then mirrored", "[0/45]2S", [0, 45, 0, 45, 45, 0, 45, 0]),
    ("the listing of NAVEDTRA 14018", "[+45/45/+45/-45]", [45, 45, 45, -45]),
]


@pytest.mark.parametrize(("rule", "code", "plies"), RULES, ids=[row[0] for row in RULES])
def test_rule(rule, code, plies):
    assert angles(code) == plies


# TM 1-1500-204-23-11, "Woven material ply angles": 0/90 and 45 denote one ply of cloth, and a lower-case w or f after
# the orientation tells cloth from unidirectional tape.
def test_cloth_is_one_ply():
    assert parse_stack("[45f/0/45w]") == (StackPly(45.0, True), StackPly(0.0, False), StackPly(45.0, True))
    assert parse_stack("[(0/90)/(±45)]") == (StackPly(0.0, True), StackPly(45.0, True))


# From memory: Tsai & Hahn, Introduction to Composite Materials (1980), the quasi-isotropic laminate [0/±45/90]s of
# eight plies, and [0_2/±45]s of eight plies; both are written and counted so throughout the literature.
def test_textbook_laminates():
    assert angles("[0/±45/90]s") == [0, 45, -45, 90, 90, -45, 45, 0]
    assert angles("[0_2/±45]s") == [0, 0, 45, -45, -45, 45, 0, 0]
