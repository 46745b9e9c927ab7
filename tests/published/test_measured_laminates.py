"""Predicted against published: every measured laminate with enough inputs must fall inside the predicted 90 % interval.

Sources: each row of measured_laminates.csv beside this file names its own. A row that gives a range is judged by the
value printed. Rows that can't be predicted stand in the same file with the reason. Some figures of the resin model were
chosen with rows of this table in sight; those rows say so and are no evidence for these figures. docs/accuracy.md holds
the same table and its plot; a test here fails when it is stale.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "docs"))

from make_accuracy import Row, mean_absolute_error, predicted, read_rows, table  # noqa: E402  # docs/ is no package

USED = [row for row in read_rows() if row.used]


@pytest.mark.parametrize("row", USED, ids=[row.name for row in USED])
def test_a_measured_laminate_falls_inside_the_interval(row: Row) -> None:
    interval = predicted(row)
    assert interval.p05 <= row.value <= interval.p95, f"{row.value:g} against {interval}"


def test_the_mean_absolute_error_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    error = mean_absolute_error(USED)
    with capsys.disabled():
        print(f"\nmean absolute error of the point prediction over {len(USED)} published figures: {error * 100:.1f} %")
    assert 0 < error < 0.15  # an uncalibrated shop differs by more than that; a worse mean is a worse model


def test_the_interval_is_not_wide_for_nothing() -> None:
    """Were the intervals twice too wide, every row would sit in their inner third."""
    from layup.spread import Z90

    far = 0
    for row in USED:
        interval = predicted(row)
        half = (interval.p95 - interval.p05) / 2
        far += abs(row.value - interval.mean) > half / Z90 * 0.43  # half of a normal lies within 0.67 deviations
    assert far >= len(USED) // 3


def test_every_row_left_out_says_why() -> None:
    for row in read_rows():
        assert row.used or row.why, row.name


def test_the_accuracy_page_is_fresh() -> None:
    page = (ROOT / "docs" / "accuracy.md").read_text(encoding="utf-8")
    assert table(read_rows()) in page, "run: python docs/make_accuracy.py"
