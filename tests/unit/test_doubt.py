"""How much of a line is in doubt: a drawn crack on even rubber, and on rough ones."""

import cv2
import numpy as np

from damagescore.damage.doubt import doubtful_px
from damagescore.damage.surround import surround_of

SHAPE = (300, 500)
LINE = np.column_stack([np.arange(80.0, 420.0), np.full(340, 150.0)])
PX_PER_MM = 25.0


def doubt(*, roughness):
    """Of a stroke along `LINE` of 70 % on a surface of that relative spread."""
    rough = cv2.GaussianBlur(np.random.default_rng(3).normal(size=SHAPE), (0, 0), 3.0)
    grey = 100 * np.clip(1 + roughness * rough / rough.std(), 0.1, 2.0)
    stroke = np.zeros(SHAPE, np.uint8)
    cv2.line(stroke, (80, 150), (419, 150), 1, 6)
    grey = cv2.GaussianBlur((grey * (1 - 0.7 * stroke)).astype(np.float32), (0, 0), 0.8)
    around = surround_of(grey, LINE, np.ones(SHAPE, bool), px_per_mm=PX_PER_MM)
    return doubtful_px(around, [LINE])


def test_a_plain_crack_on_even_rubber_is_in_no_doubt():
    assert doubt(roughness=0.03) == 0.0


def test_the_doubt_grows_with_the_roughness_up_to_the_whole_line():
    some, most = doubt(roughness=0.25), doubt(roughness=0.45)
    assert 0 <= some < most
    assert 0.5 * 340 < most <= 340 + 1  # by a step, 1 px, both ends are counted
