"""Two cracks that cross: an open dark one and a paler one, on drawn rubber."""

from dataclasses import replace

import numpy as np
import pytest

from damagescore.damage import find_cracks
from tests.crack_drawing import MM_PER_PX, draw, edge_of, scale_of, straight, tapered

SHAPE = (260, 700)
EDGE = edge_of(SHAPE)


def crossed(angle_deg):
    """An open crack along the layer and, across it, one half as dark; 15 and 8 mm long."""
    open_one = straight((350, 130), 2, 375.0)
    pale_one = straight((350, 130), angle_deg, 200.0)
    how = {"shape": SHAPE, "edge": EDGE, "grain": 0.06, "seed": 4}
    dark = draw([(open_one, tapered(len(open_one), 8.0))], **how)
    pale = draw([(pale_one, tapered(len(pale_one), 3.0))], darkness=0.45, **how)
    return replace(dark, grey=np.minimum(dark.grey, pale.grey))


@pytest.mark.parametrize("angle_deg", [40, 65])
def test_an_open_and_a_pale_crack_that_cross_are_two_findings(angle_deg):
    found = find_cracks(crossed(angle_deg), EDGE, scale_of())
    assert len(found) == 2
    long, short = (f.quantities["length"].value for f in found)
    assert long == pytest.approx(375 * MM_PER_PX, abs=0.5)  # two tips
    # The pale one goes on under the open one; its tips fade into the grain.
    assert short == pytest.approx(200 * MM_PER_PX, abs=0.9)


def test_a_branch_as_dark_as_its_crack_stays_with_it():
    main = straight((350, 130), 2, 375.0)
    branch = straight((420, 165), 50, 90.0)
    photo = draw(
        [(main, tapered(len(main), 8.0)), (branch, 4.0)], shape=SHAPE, edge=EDGE, grain=0.06
    )
    (finding,) = find_cracks(photo, EDGE, scale_of())
    assert len(finding.lines_px) == 2
