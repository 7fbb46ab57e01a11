"""What is proposed as a crack and what is not, on drawn rubber with known content."""

import numpy as np
import pytest

from damagescore.damage import find_cracks
from damagescore.errors import UsageError
from tests.crack_drawing import (
    MM_PER_PX,
    RUBBER_LIGHT,
    coverage,
    draw,
    edge_of,
    length_of,
    photo_of,
    scale_of,
    straight,
    tapered,
    wandering,
)

SHAPE = (200, 700)
EDGE = edge_of(SHAPE)


def found_in(lines=(), *, sensitivity=0.5, exclude=None, **drawing):
    photo = draw(list(lines), shape=SHAPE, edge=EDGE, grain=0.08, **drawing)
    return find_cracks(photo, EDGE, scale_of(), sensitivity=sensitivity, exclude=exclude)


def crack(seed, *, start=(150, 100), length_px=350.0, peak_px=6.0):
    line = wandering(np.random.default_rng(seed), start=start, length_px=length_px)
    return line, tapered(len(line), peak_px)


@pytest.mark.parametrize("seed", range(4))
def test_sound_rubber_and_uniform_noise_give_nothing(seed):
    assert found_in(seed=seed) == ()
    noise = np.random.default_rng(seed).normal(70, 12, SHAPE)
    assert find_cracks(photo_of(noise), EDGE, scale_of()) == ()


@pytest.mark.parametrize("seed", range(4))
def test_a_crack_is_one_finding_with_its_length(seed):
    line, widths = crack(seed)
    (finding,) = found_in([(line, widths)], seed=seed)
    assert finding.kind == "crack"
    assert finding.layer == 1
    assert finding.strength > 0.9
    # Tips of 0.05 mm show to within about 0.1 mm each.
    assert finding.quantities["length"].value == pytest.approx(350 * MM_PER_PX, abs=0.3)


@pytest.mark.parametrize("angle_deg", [0, 25, 50, 75, 90, 115, 140, 165])
def test_short_cracks_are_found_at_every_angle(angle_deg):
    line = straight((350, 100), angle_deg, 60.0)
    (finding,) = found_in([(line, tapered(60, 4.5))], seed=angle_deg)
    assert finding.quantities["length"].value == pytest.approx(2.4, abs=0.35)  # two tips


def test_a_bright_scratch_is_no_crack():
    line = straight((350, 100), 20, 300)
    assert found_in([(line, 4.0)], darkness=-1.0) == ()


def test_a_shadow_edge_is_no_crack():
    light = np.full(SHAPE, RUBBER_LIGHT)
    light[:, 300:] *= 0.35
    assert found_in(light=light) == ()


def test_a_crack_in_well_lit_rubber_is_found_where_most_lies_in_the_shade():
    """The lit end is three times as bright as most of the layer; it is no card."""
    line, widths = crack(6, start=(430, 100), length_px=200)
    light = RUBBER_LIGHT * (0.5 + 3 / (1 + np.exp(-(np.arange(SHAPE[1]) - 400) / 5)))
    (finding,) = found_in([(line, widths)], light=np.tile(light, (SHAPE[0], 1)))
    assert finding.quantities["length"].value == pytest.approx(200 * MM_PER_PX, abs=0.4)


def test_a_mould_flash_line_is_no_crack():
    """Straight, along the layer over its whole length, a third darker, bright beside."""
    dark, bright = (straight((350, y), 0, 690) for y in (80, 82.5))
    light = np.full(SHAPE, RUBBER_LIGHT)
    light[79:81] *= 0.62
    light[82:84] *= 1.4
    assert found_in(light=light) == ()
    assert len(dark) == len(bright)
    line, widths = crack(1, start=(150, 140))
    (finding,) = found_in([(line, widths)], light=light)
    assert finding.quantities["length"].value == pytest.approx(350 * MM_PER_PX, abs=0.4)


def test_a_crack_from_one_border_of_a_thin_layer_to_the_other_is_no_bond_gap():
    shape = (110, 700)  # a layer of 1.6 mm, 40 px
    edge = edge_of(shape, top=35.0, bottom=75.0)
    corners = np.array([(150, 69), (330, 70), (370, 41), (540, 40)], float)
    at = np.linspace(0, 1, 120)
    line = np.column_stack([np.interp(at, [0, 0.45, 0.56, 1], corners[:, k]) for k in (0, 1)])
    photo = draw([(line, tapered(len(line), 6.0))], shape=shape, edge=edge, grain=0.08)
    (finding,) = find_cracks(photo, edge, scale_of())
    assert finding.kind == "crack"
    assert finding.quantities["length"].value == pytest.approx(
        length_of(line) * MM_PER_PX, abs=0.4
    )


def test_a_gap_along_the_shim_is_a_bond_gap():
    y = 180 - 4.0
    line = straight((350, y), 0, 300)
    (finding,) = found_in([(line, tapered(60, 6.0))])
    assert finding.kind == "bond_gap"
    assert finding.quantities["length"].value == pytest.approx(300 * MM_PER_PX, abs=0.3)


def test_a_forked_crack_is_one_finding_with_two_lines():
    main = straight((350, 120), 0, 400)
    branch = np.array([350.0, 120.0]) + np.linspace(0, 1, 60)[:, None] * [120.0, -60.0]
    (finding,) = found_in([(main, tapered(60, 6.0)), (branch, np.linspace(5, 1.25, 60))])
    assert len(finding.lines_px) == 2
    true_mm = MM_PER_PX * (400 + length_of(branch))
    assert finding.quantities["length"].value == pytest.approx(true_mm, rel=0.03)  # the fork


def test_a_pale_crack_that_meets_a_dark_one_is_a_finding_of_its_own():
    dark = straight((400, 130), 3, 300), tapered(60, 7.0)
    pale = straight((230, 85), 17, 250)  # runs into the dark one near (350, 122)
    light = np.full(SHAPE, RUBBER_LIGHT) * (1 - 0.6 * coverage(SHAPE, pale, tapered(60, 4.0)))
    found = sorted(found_in([dark], light=light), key=lambda f: f.quantities["length"].value)
    assert len(found) == 2
    # Up to 0.9 mm about the meeting may go to either.
    assert found[0].quantities["length"].value == pytest.approx(250 * MM_PER_PX, abs=0.9)
    assert found[1].quantities["length"].value == pytest.approx(300 * MM_PER_PX, abs=0.9)


def test_a_crack_bridged_by_rubber_is_one_finding():
    line, widths = crack(3)
    widths = widths.copy()
    middle = len(widths) // 2
    pieces = [
        (line[: middle - 3], widths[: middle - 3]),
        (line[middle + 3 :], widths[middle + 3 :]),
    ]
    (finding,) = found_in(pieces)
    assert finding.quantities["length"].value == pytest.approx(350 * MM_PER_PX, abs=0.4)


def test_an_excluded_area_gives_nothing():
    mask = np.zeros(SHAPE, bool)
    mask[30:150, 100:600] = True
    assert found_in([crack(2)], exclude=mask) == ()


def test_sensitivity_only_adds():
    lines = [crack(1), (straight((350, 150), 8, 200), 1.6), (straight((350, 45), 3, 90), 1.3)]
    photo = draw(lines, shape=SHAPE, edge=EDGE, grain=0.1, darkness=0.92)
    counts = [len(find_cracks(photo, EDGE, scale_of(), sensitivity=s)) for s in (0.0, 0.5, 1.0)]
    assert counts == sorted(counts)
    assert counts[0] >= 1


@pytest.mark.parametrize("mm_per_px", [0.015, 0.025, 0.06])
def test_the_resolution_of_the_photo_does_not_matter(mm_per_px):
    zoom = MM_PER_PX / mm_per_px
    shape = (int(200 * zoom), int(700 * zoom))
    edge = edge_of(shape, top=20 * zoom, bottom=180 * zoom)
    line, widths = crack(5)
    photo = draw([(line * zoom, widths * zoom)], shape=shape, edge=edge, grain=0.06)
    scale = scale_of(mm_per_px, centre_px=(shape[1] / 2, shape[0] / 2))
    (finding,) = find_cracks(photo, edge, scale)
    assert finding.quantities["length"].value == pytest.approx(350 * MM_PER_PX, abs=0.4)


def test_a_photo_with_no_rubber_to_judge_gives_nothing():
    assert found_in([crack(1)], exclude=np.ones(SHAPE, bool)) == ()


@pytest.mark.parametrize("sensitivity", [-0.1, 1.5])
def test_a_sensitivity_outside_its_range_is_refused_with_the_value(sensitivity):
    with pytest.raises(UsageError, match=str(sensitivity)):
        found_in(sensitivity=sensitivity)


def test_the_gaps_between_crumbs_are_no_crack():
    """Loosened rubber: dark gaps between round crumbs, all over a patch."""
    rng = np.random.default_rng(11)
    places = np.column_stack([rng.uniform(250, 450, 260), rng.uniform(40, 160, 260)])
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    near = np.sort(
        np.stack([np.hypot(x - px, y - py) for px, py in places]).astype(np.float32), axis=0
    )[:2]
    patch = (x > 250) & (x < 450) & (y > 40) & (y < 160)
    light = np.full(SHAPE, RUBBER_LIGHT)
    light[patch & (near[1] - near[0] < 3.0)] *= 0.15
    assert found_in(light=light) == ()
    line, widths = crack(4, start=(480, 100), length_px=180)
    (finding,) = found_in([(line, widths)], light=light)
    assert finding.quantities["length"].value == pytest.approx(180 * MM_PER_PX, abs=0.3)
