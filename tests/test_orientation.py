import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from oracles.orientation import write_stack

from layup.errors import LayupError, RangeError, StackError
from layup.laminate.orientation import MOST_PLIES, StackPly, parse_stack


def plies(*marks):
    """UD plies as numbers, cloth as ("w", warp)."""
    return tuple(StackPly(float(m[1]), True) if isinstance(m, tuple) else StackPly(float(m), False) for m in marks)


@pytest.mark.parametrize(
    ("code", "stack"),
    [
        ("[0]", plies(0)),
        ("[(0/90)/(+-45)]s", plies(("w", 0), ("w", 45), ("w", 45), ("w", 0))),
        ("[(90/0)/(-+45)/(+45/-45)/(-45/45)]", plies(("w", 90), ("w", -45), ("w", 45), ("w", -45))),
        ("[(0/90)_2/45]s", plies(("w", 0), ("w", 0), 45, 45, ("w", 0), ("w", 0))),
        ("[(0/90)2/45]", plies(("w", 0), ("w", 0), 45)),
        ("[[0/90]_2/45]s", plies(0, 90, 0, 90, 45, 45, 90, 0, 90, 0)),
        ("[[0/90]s/45]", plies(0, 90, 90, 0, 45)),
        ("[(0/45)_2]", plies(0, 45, 0, 45)),
        ("[((0/90)/45)2]", plies(("w", 0), 45, ("w", 0), 45)),
        ("[30f/-60w]", plies(("w", 30), ("w", -60))),
        ("[22.5/-22.5]", plies(22.5, -22.5)),
        ("[-90/+90/-0]", plies(90, 90, 0)),
        ("[0/90]_2s", plies(0, 90, 0, 90, 90, 0, 90, 0)),
        ("[0:2/90]:2s", plies(*[0, 0, 90] * 2, *[90, 0, 0] * 2)),
        ("[0_{2}/90]_{2s}", plies(*[0, 0, 90] * 2, *[90, 0, 0] * 2)),
        ("[0₂/90]₂ₛ", plies(*[0, 0, 90] * 2, *[90, 0, 0] * 2)),
        ("[0/90\\]s", plies(0, 90, 0)),
        ("[(+-45)/(0/90)bar]s", plies(("w", 45), ("w", 0), ("w", 45))),
        (" [ 0° / ± 45 / 90 ] s ", plies(0, 45, -45, 90, 90, -45, 45, 0)),
        ("[+-45_2]", plies(45, -45, 45, -45)),
    ],
)
def test_codes(code, stack):
    assert parse_stack(code) == stack


@pytest.mark.parametrize(
    ("code", "position", "said"),
    [
        ("", 1, 'Write "[0/90]"'),
        ("0/90", 1, "starts with a square bracket"),
        ("(0/90)", 1, "starts with a square bracket"),
        ("[0/90", 1, "never closed"),
        ("[0/(0/90]", 9, "Write ) here"),
        ("[0/90)s", 6, "Write ] here"),
        ("[0,90]", 3, "slash is due here"),
        ("[0 90]", 4, "slash is due here"),
        ("[]", 2, "angle is due here"),
        ("[0//90]", 4, "angle is due here"),
        ("[0/]", 4, "angle is due here"),
        ("[0/x]", 4, "angle is due here"),
        ("[0/90]s2", 8, 'before the s: "[0/90]2s"'),
        ("[0/90]s/45", 8, "one pair of brackets"),
        ("[0/90]x", 7, "one pair of brackets"),
        ("[0s/90]", 3, "after the last bracket"),
        ("[0_2s/90]", 5, "after a bracket"),
        ("[0_/90]", 3, "number is due"),
        ("[0_{2/90]", 3, "number is due"),
        ("[0_0/90]", 3, "0 times"),
        ("[120]", 2, 'Write "-60"'),
        ("[500]", 2, "from -90 to 90"),
        ("[++45]", 2, 'Write "+45_2"'),
        ("[(45)/0]", 2, '"45f" for one turned by 45'),
        ("[0/(+-30)]", 4, '"+-30" for plies of one direction'),
        ("[0/90bar]", 1, "[0/90bar]s"),
        ("[0bar/90]s", 1, "middle ply alone"),
        ("[0/90bar]2s", 1, "middle ply alone"),
        ("[0/+-45bar]s", 4, "over one ply"),
        ("[0_9999]", 2, "more than 1000 plies"),
        ("[0_600]s", 8, "more than 1000 plies"),
        ("[(0/90)_1001]", 2, "more than 1000 plies"),
        ("[[[0_900]_900]_900]s", 10, "more than 1000 plies"),
        ("[" * 50, 22, "too many brackets"),
        ("[0₂/9x]", 6, "slash is due here"),
    ],
)
def test_errors_have_a_position_and_a_remedy(code, position, said):
    with pytest.raises(StackError) as caught:
        parse_stack(code)
    assert said in str(caught.value)
    assert caught.value.at == position, str(caught.value)
    assert f"position {position}:" in str(caught.value)
    assert isinstance(caught.value, LayupError)


@pytest.mark.parametrize(
    ("stack", "code"),
    [
        (plies(0), "[0]"),
        (plies(0, 0), "[0_2]"),
        (plies(0, 90), "[0/90]"),
        (plies(0, 90, 90, 0), "[0/90]s"),
        (plies(0, 90, 0), "[0/90bar]s"),
        (plies(0, 90, 90, 90, 0), "[0/90bar_3]s"),
        (plies(("w", 0), ("w", 45), ("w", 45), ("w", 0)), "[(0/90)/(+-45)]s"),
        (plies(("w", 0), ("w", 0), ("w", -45), ("w", 90), ("w", 30)), "[(0/90)_2/(-+45)/(90/0)/30f]"),
        (plies(22.5, -22.5), "[22.5/-22.5]"),
    ],
)
def test_short_form(stack, code):
    assert write_stack(stack) == code
    assert parse_stack(code) == stack


def test_what_cannot_be_written():
    for stack in ((), plies(0) * (MOST_PLIES + 1), plies(120)):
        with pytest.raises(RangeError):
            write_stack(stack)


direction = st.one_of(
    st.sampled_from([0.0, 30.0, 45.0, -45.0, 60.0, 90.0, 22.5]),
    st.floats(-90, 90, exclude_min=True).map(lambda a: a + 0.0),
)
ply = st.builds(StackPly, direction, st.booleans())


@given(st.lists(ply, min_size=1, max_size=12))
def test_written_and_read_back(stack):
    assert parse_stack(write_stack(stack)) == tuple(stack)


@given(st.lists(ply, min_size=1, max_size=6), st.booleans(), st.integers(1, 3))
def test_symmetric_written_and_read_back(half, odd, middle):
    whole = tuple(half + ([half[-1]] * middle if odd else []) + half[::-1])
    code = write_stack(whole)
    assert parse_stack(code) == whole
    if len(set(whole)) > 1:
        assert code.endswith("]s")


@given(st.lists(ply, min_size=1, max_size=6), st.integers(1, 4))
def test_symmetric_repeats_mirror(half, count):
    listed = write_stack(half)
    if listed.endswith("s"):
        listed = f"[{listed}]"
    mirrored = parse_stack(f"{listed}{count}s")
    assert mirrored == tuple(half * count) + tuple(half * count)[::-1]
    assert mirrored == mirrored[::-1]


def read_or_error(text):
    try:
        return parse_stack(text)
    except StackError as error:
        return error


@given(st.text(max_size=30))
def test_no_text_breaks_it(text):
    outcome = read_or_error(text)
    if isinstance(outcome, StackError):
        assert 1 <= outcome.at <= len(text) + 1
    else:
        assert 1 <= len(outcome) <= MOST_PLIES


signs = st.sampled_from([*"[]()/+-±∓_:{}sStTfw°\\ ,.", "0", "45", "90", "2", "bar", "₂", "\u0305"])


@given(st.lists(signs, max_size=16))
@settings(max_examples=500)
def test_no_mixture_of_its_own_signs_breaks_it(signs):
    text = "[" + "".join(signs)
    outcome = read_or_error(text)
    if isinstance(outcome, StackError):
        assert 1 <= outcome.at <= len(text) + 1
    else:
        assert parse_stack(write_stack(outcome)) == outcome
