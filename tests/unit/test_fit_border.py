"""The fit of the crumbling border, on plain numbers."""

from itertools import pairwise

import numpy as np
import pytest

from benchmarks.crumbled_closeups import DEPTHS, TABLES, WIDTH_PX, closeup_spec, faint_spec
from benchmarks.fit_border import _slopes, fit


def test_slopes_are_those_of_the_cross_entropy() -> None:
    rng = np.random.default_rng(1)
    sizes = (4, 3, 1)
    terms = []
    for before, after in pairwise(sizes):
        terms += [rng.normal(size=(before, after)), rng.normal(size=after)]
    clues, true = rng.normal(size=(20, 4)), rng.uniform(size=20)

    def loss() -> float:
        odds = (np.tanh(clues @ terms[0] + terms[1]) @ terms[2] + terms[3])[:, 0]
        return float(np.mean(np.logaddexp(0, odds) - true * odds))

    slopes = _slopes(terms, clues, true, np.ones(20))
    for term, slope in zip(terms, slopes, strict=True):
        place, step = (0,) * term.ndim, 1e-6
        before = loss()
        term[place] += step
        # a difference quotient is good to about its step
        assert (loss() - before) / step == pytest.approx(slope[place], abs=1e-5)
        term[place] -= step


def test_a_fit_learns_what_a_plane_cannot() -> None:
    """In where two clues differ in sign: no single weighted sum tells."""
    rng = np.random.default_rng(2)
    clues = rng.normal(size=(1500, 3)).astype(np.float32)
    true = (clues[:, 0] * clues[:, 1] < 0).astype(np.float32)
    model = fit([(clues, true)] * 40)
    right = (model.odds(clues) > 0) == (true > 0.5)
    assert right.mean() > 0.85  # few steps only; the rest lies beside the axes


@pytest.mark.parametrize("name", sorted(TABLES))
def test_close_ups_show_their_patches(name: str) -> None:
    for number in range(10):
        spec = closeup_spec(TABLES[name](), number)
        assert spec.view == "face"
        assert spec.mark.kind == "none"
        half_mm = WIDTH_PX / spec.camera.px_per_mm / 2
        for patch in spec.crumbling:
            assert abs(patch.s_mm) + patch.length_mm / 2 < half_mm
            assert patch.layer in (0, 2, 4)


def test_faint_close_ups_walk_through_depths_and_lamps() -> None:
    specs = [faint_spec(number) for number in range(16)]
    for number, spec in enumerate(specs):
        most_mm = 0.9 * DEPTHS[number % len(DEPTHS)]  # 0.9 mm is the deepest usual pit
        assert len(spec.crumbling) == 2
        assert all(0 < patch.depth_mm <= most_mm for patch in spec.crumbling)
        assert spec.cracks == ()
    lamps = {round(spec.light.elevation_deg, 6) for spec in specs}
    assert len(lamps) == len(specs)
    assert all(spec.light.elevation_deg < 15 for spec in specs[:4])
    assert all(spec.light.direct < 0.25 for spec in specs[12:])
