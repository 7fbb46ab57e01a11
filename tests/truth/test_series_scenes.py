"""The same cracks growing: the truth of the scenes that stand for one part over time."""

import numpy as np
import pytest

from damagescore.scenes.face import face_camera, seeded
from damagescore.scenes.fractures import grow_fracture
from damagescore.scenes.laminate import build_laminate
from damagescore.scenes.series import SEED, endurance_specs, history_specs
from damagescore.scenes.spec import CrackSpec, StackSpec


def lengths(layer: int) -> list[float]:
    found = []
    for _, spec in history_specs():
        laminate = build_laminate(spec.stack, (-65.0, 65.0), seeded(SEED, 1))
        draw = seeded(SEED, 2)
        grown = [grow_fracture(c, laminate, draw) for c in spec.cracks]
        found.append(
            sum(f.length_mm for f in grown if f.spec.layer == layer and f.spec.grown > 0)
        )
    return found


def test_the_first_crack_grows_exponentially() -> None:
    # A cut path turns less than the whole: 0.5 %
    assert lengths(4) == pytest.approx([6 * 1.15**i for i in range(8)], rel=0.01)


def test_the_second_appears_late_and_grows_steadily() -> None:
    expected = [0, 0, 0, 1.8, 3.6, 5.4, 7.2, 9.0]
    assert lengths(8) == pytest.approx(expected, rel=0.01)  # as above


def test_the_third_stays_as_it_is() -> None:
    assert np.ptp(lengths(2)) == 0


def test_an_open_part_lies_on_the_whole_path() -> None:
    laminate = build_laminate(StackSpec(), (-40.0, 40.0), seeded(1, 1))
    spec = CrackSpec(layer=4, length_mm=20.0, width_mm=0.4)
    whole = grow_fracture(spec, laminate, seeded(1, 2)).branches[0]
    half = grow_fracture(
        CrackSpec(layer=4, length_mm=20.0, width_mm=0.4, grown=0.5), laminate, seeded(1, 2)
    ).branches[0]
    # Nodes lie 0.1 mm apart, and new ones on the lines between them.
    gaps = np.hypot(*(whole.points_mm[:, None] - half.points_mm[None]).transpose(2, 0, 1))
    assert gaps.min(axis=0).max() < 0.06
    assert half.length_mm == pytest.approx(10.0, rel=0.02)  # the whole is 20 mm by its steps
    assert half.widths_mm.max() < whole.widths_mm.max()


def test_every_visit_has_its_own_camera_and_number() -> None:
    specs = [s for _, s in history_specs()]
    specs += [s for looks in endurance_specs().values() for _, s in looks]
    assert len({s.name for s in specs}) == len(specs) == 20
    assert len({s.visit for _, s in history_specs()}) == 8
    centres = np.array([face_camera(s).centre_mm for s in specs])
    assert np.ptp(centres[:, :2], axis=0).min() > 10.0
