"""Our centre lines against two reference libraries for skeletons.

scikit-image (skimage.morphology.skeletonize; Zhang & Suen 1984) and skan (branch
distances of a skeleton's graph; Nunez-Iglesias et al. 2018, PeerJ 6:e4312), seen
2026-11. A skeleton's chain of unit and diagonal steps is known to read long by up
to 8.2 % (at 22.5 degrees: cos 22.5 + (sqrt 2 - 1) sin 22.5 = 1.0824) and to lose
about half the stroke's width at each end. Ours must lie inside what those two
effects allow, and be nearer to the truth than the chain.
"""

import math

import numpy as np
import pytest
from skan import Skeleton
from skimage.morphology import skeletonize

from damagescore.damage import trace_crack
from damagescore.damage.network import networks, thin
from tests.crack_drawing import MM_PER_PX, coverage, draw, length_of, scale_of, straight

WIDTH_PX = 5.0


def chain_px(mask):
    """Longest branch of the skeleton as skan measures it, pixels."""
    return float(Skeleton(skeletonize(mask)).path_lengths().max())


def chain_excess(angle_deg):
    """Length of an ideal 8-connected chain over the straight line's."""
    a = math.radians(angle_deg % 90)
    a = min(a, math.pi / 2 - a)
    return math.cos(a) + (math.sqrt(2) - 1) * math.sin(a)


@pytest.mark.parametrize("angle_deg", [0.0, 11.25, 22.5, 33.75, 45.0, 67.5, 112.5, 157.5])
def test_straight_lines_agree_within_the_chain_bias(angle_deg):
    line = straight((150, 150), angle_deg, 200.0)
    reference = chain_px(coverage((300, 300), line, WIDTH_PX) > 0.5)
    photo = draw([(line, WIDTH_PX)], shape=(300, 300))
    ours = trace_crack(photo, line[[0, -1]], scale_of()).quantities["length"].value / MM_PER_PX
    # Half a width is lost at each end, and a pixel or two with the corners.
    expected = (200 - WIDTH_PX) * chain_excess(angle_deg)
    assert reference == pytest.approx(expected, abs=4.0)
    assert ours * chain_excess(angle_deg) - reference == pytest.approx(WIDTH_PX, abs=5.0)
    assert abs(ours - 200) <= 1.0  # the truth: half a percent


def test_the_chain_is_eight_percent_long_at_the_worst_angle():
    assert chain_excess(22.5) == pytest.approx(1.0824, abs=1e-4)  # rounding of the print
    line = straight((200, 200), 22.5, 300.0)
    reference = chain_px(coverage((400, 400), line, WIDTH_PX) > 0.5)
    photo = draw([(line, WIDTH_PX)], shape=(400, 400))
    ours = trace_crack(photo, line[[0, -1]], scale_of()).quantities["length"].value / MM_PER_PX
    assert reference / (300 - WIDTH_PX) == pytest.approx(1.0824, abs=0.015)  # four pixels
    assert ours / 300 == pytest.approx(1.0, abs=0.005)


def test_longest_path_and_branches_agree_with_skan():
    """A fork: our ordered paths visit the same skeleton, so chain sums must agree."""
    shape = (200, 500)
    main = straight((250, 120), 0, 400)
    branch = np.array([250.0, 120.0]) + np.linspace(0, 1, 40)[:, None] * [110.0, -60.0]
    mask = np.maximum(coverage(shape, main, 3.0), coverage(shape, branch, 3.0)) > 0.5
    skeleton = thin(mask)
    (paths,) = networks(skeleton, shortest_branch_px=15)
    assert len(paths.lines) == 2
    ours = sum(length_of(line) for line in paths.lines)
    branches = Skeleton(skeleton).path_lengths()
    theirs = float(branches[branches > 5].sum())
    assert ours == pytest.approx(theirs, abs=4.0)  # how the two count the junction's pixels
