"""Layers that converge: closed forms, lost borders, claimed against real error."""

import numpy as np
import pytest

from damagescore.quality.planes import convergence
from damagescore.scale.surface import SurfaceMap

FLAT = SurfaceMap(px_to_mm=np.diag([0.05, 0.05, 1.0]))
LONG_PX, LAYERS = 2000.0, 7


def borders(change: float = 0.0) -> np.ndarray:
    """Levels (2 * LAYERS, 81) of a wedge about y = 500, px; rows come in pairs."""
    s = np.linspace(0.0, 1.0, 81)
    rest = np.array([k + side for k in range(LAYERS) for side in (0.0, 0.8)])
    rest = 80.0 * (rest - rest.mean())
    return 500 + rest[:, None] * (1 + change * (s - 0.5))


def polygons(levels: np.ndarray) -> list[np.ndarray]:
    x = np.linspace(0.0, LONG_PX, levels.shape[1])
    return [
        np.vstack([np.column_stack([x, low]), np.column_stack([x, high])[::-1]])
        for low, high in zip(levels[::2], levels[1::2], strict=True)
    ]


@pytest.mark.parametrize("change", [0.0, 0.04, -0.1])
def test_a_wedge_reads_as_drawn(change):
    found = convergence(FLAT, polygons(borders(change)))
    assert found.change == pytest.approx(change, abs=1e-6)  # straight lines, exact slopes


def test_outer_borders_that_were_lost_do_not_turn_the_rest():
    levels = borders()
    levels[0] += np.linspace(0, 40, 81)  # the lowest border ran into a shadow
    levels[-1, 60:] -= 25
    found = convergence(FLAT, polygons(levels))
    assert abs(found.change) < 0.005  # as high differences of the outer two would give 0.1
    assert abs(found.change) < 2 * found.u


def test_claimed_against_real_error():
    rng = np.random.default_rng(3)
    scores = []
    for _ in range(60):
        turned = rng.normal(0, 3.0, (2 * LAYERS, 1)) * np.linspace(-1, 1, 81)
        found = convergence(FLAT, polygons(borders(0.03) + turned))
        scores.append((found.change - 0.03) / found.u)
    # 60 draws tell a root mean square to 9 %; the spread of 14 borders itself to 20 %
    assert 0.6 < np.sqrt(np.mean(np.square(scores))) < 1.4


def test_one_layer_tells_nothing():
    assert convergence(FLAT, polygons(borders())[:1]) is None
