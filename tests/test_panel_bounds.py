"""Bounds on how far a panel gives and bends, against the whole panel solved for each layup."""

import numpy as np
import pytest
import shapely
from pytest import approx

from layup.laminate.panel import PanelLoad, build_panel, terms_of
from layup.laminate.panel_bounds import PanelBounds
from layup.laminate.panel_model import seven
from layup.laminate.stiffness import reduced_stiffness, rotated_stiffness


def layups(count, cored, seed=4):
    """D of random mixes of tape and cloth at four angles; with a core S besides."""
    rng = np.random.default_rng(seed)
    single = [
        terms_of(rotated_stiffness(reduced_stiffness(e1, e2, nu, g), np.radians(angle)))
        for e1, e2, nu, g in ((130e9, 8e9, 0.3, 4e9), (60e9, 60e9, 0.05, 3.5e9))
        for angle in (0, 45, -45, 90)
    ]
    d = rng.dirichlet(np.full(8, 0.5), count) @ np.array(single) * rng.uniform(0.3, 3, (count, 1)) * 1e-9
    return np.column_stack([d, rng.uniform(2e4, 1e5, count)]) if cored else d


@pytest.mark.parametrize("cored", [False, True])
def test_the_whole_panel_lies_within_the_bounds(cored):
    """Every deflection and curvature of the whole, and the bounds close in as shapes are taken."""
    shape = shapely.box(0, 0, 0.4, 0.25).difference(shapely.Point(0.25, 0.12).buffer(0.03))
    panel = build_panel(shape, {"left": "clamped", "top": "simple", "bottom": "simple"}, count=120)
    load = panel.load_vector(PanelLoad("pressure", pressure=1000.0))
    every, places = layups(60, cored), np.arange(0, panel.reading.shape[0], 7)
    bounds = PanelBounds(panel, load, every.mean(axis=0))
    whole = np.stack([panel.solve(seven(one, bounds.stiffest), load[:, None])[:, 0] for one in every])
    sag = np.abs(whole[:, panel.basis.nodal_dofs[0]]).max(axis=1)
    bend = panel.curvature_at_places(whole.T)[places].transpose(2, 0, 1)
    close = []
    for _ in range(3):
        amounts, off = bounds.answer(every)
        least = bounds.sag_at_least(amounts, off)
        read, by = bounds.curvature(amounts, off, places)
        assert (least <= sag * (1 + 1e-9)).all()
        assert (np.abs(bend - read) <= by + 1e-9 * np.abs(bend).max()).all()
        close.append(float(np.median(1 - least / sag)))
        for _ in range(4):
            bounds.add(every[int(np.argmax(bounds.answer(every)[1] / sag))])
    assert close[0] > close[1] > close[2]
    assert close[2] < 0.15  # 0.03 and 0.10 measured, with nine shapes
    last = np.argmax(bounds.answer(every)[1])
    bounds.add(every[last])
    amounts, off = bounds.answer(every[last : last + 1])
    assert bounds.sag_at_least(amounts, off) == approx(sag[last], rel=1e-6)  # its own shape is one of them
