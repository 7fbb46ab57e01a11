"""What must not change, or must change in step, when the photo does."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from damagescore.edge import find_edge
from tests.edge_renders import boundary_lines, render_face

FEW = settings(max_examples=6, deadline=None)


def _misfits(**how):
    render = render_face(**how)
    lines = boundary_lines(find_edge(render.photo, render.scale))
    assert len(lines) == len(render.boundaries_px)
    return np.array([np.median(render.misfit_px(x, k)) for k, x in enumerate(lines)])


@FEW
@given(offset=st.floats(-60, 60))
def test_layers_move_with_the_part(offset):
    assert np.abs(_misfits(offset_px=offset)).max() < 0.25  # grain moves a line 0.1 px


@FEW
@given(angle=st.floats(-12, 12))
def test_layers_turn_with_the_part(angle):
    assert np.abs(_misfits(angle_deg=angle)).max() < 0.25  # as above


@FEW
@given(gain=st.floats(0.5, 1.35))
def test_brightness_does_not_move_a_boundary(gain):
    # The same seed: only rounding to grey levels and the noise's share differ.
    assert np.abs(_misfits(gain=gain) - _misfits()).max() < 0.15


@FEW
@given(seed=st.integers(0, 1000))
def test_grain_and_noise_do_not_change_the_count(seed):
    assert np.abs(_misfits(seed=seed)).max() < 0.3  # three times the usual 0.1 px
