"""When the number of layers is said to be in doubt, and stacks that are hard to count."""

import numpy as np
import pytest

from damagescore.edge.bands import Band, Contrasts
from damagescore.edge.doubt import doubt_of
from damagescore.edge.record import Edge
from damagescore.edge.stack import find_stack
from damagescore.edge.straighten import Profiles

SHIM, RUBBER, PLATE = (4.8, 0.0, 0.0), (4.0, 0.0, 0.0), (4.4, 0.12, -0.2)
MM_PER_PX = 0.05


def _band(level: float, strength: float = 40.0) -> Band:
    contrast = np.array([strength, 0.0, 0.0])
    return Band(level_px=level, thickness_px=10.0, contrast=contrast, strength=strength)


CHAIN = [_band(y) for y in (100.0, 160.0, 220.0, 280.0)]
ENDS = (50.0, 330.0)


def test_an_even_chain_is_not_doubted() -> None:
    assert doubt_of(CHAIN, CHAIN, ends=ENDS) == ""
    assert doubt_of([*CHAIN, _band(190.0, 10.0)], CHAIN, ends=ENDS) == ""  # a faint mould line
    assert doubt_of([*CHAIN, _band(500.0)], CHAIN, ends=ENDS) == ""  # far from the stack
    dark = Band(
        level_px=190.0, thickness_px=10.0, contrast=np.array([-40.0, 0.0, 0.0]), strength=40.0
    )
    assert doubt_of([*CHAIN, dark], CHAIN, ends=ENDS) == ""  # unlike the shims


def test_what_speaks_against_a_count_is_named() -> None:
    assert "lies inside a layer" in doubt_of([*CHAIN, _band(190.0)], CHAIN, ends=ENDS)
    assert "beside the stack" in doubt_of([*CHAIN, _band(342.0)], CHAIN, ends=ENDS)
    faint = [*CHAIN[:3], _band(280.0, 3.0)]
    assert "hardly seen" in doubt_of(faint, faint, ends=ENDS)
    pale = [_band(100.0, 18.0), *CHAIN[1:]]
    assert "unlike the others" in doubt_of(pale, pale, ends=ENDS)
    tinted = Band(
        level_px=280.0, thickness_px=10.0, contrast=np.array([40.0, 0.0, 30.0]), strength=50.0
    )
    strip = [*CHAIN[:3], tinted]
    assert "unlike the others" in doubt_of(strip, strip, ends=ENDS)
    missed = [CHAIN[0], CHAIN[1], CHAIN[3]]
    assert "different thickness" in doubt_of(missed, missed, ends=ENDS)


def _profiles(
    rubber_px: float, shim_px: float, count: int, *, hidden: float = 0.0,
    plate: tuple[float, float, float] = PLATE,
) -> Profiles:  # fmt: skip
    """A stack of `count` rubber layers between plates; a share hidden below the last shim."""
    rng = np.random.default_rng(2)
    rows = np.arange(0, 1200, 2.0)
    values = np.empty((len(rows), 40, 3), np.float32)
    values[:] = plate
    start = 300.0
    for k in range(2 * count - 1):
        thick = rubber_px if k % 2 == 0 else shim_px
        values[(rows >= start) & (rows < start + thick)] = RUBBER if k % 2 == 0 else SHIM
        start += thick
    below = rows > start - rubber_px
    values[np.ix_(below, np.arange(40) < 40 * hidden)] = (5.0, 0.0, 0.0)  # a bright rule
    values += rng.normal(0, 0.01, values.shape)
    return Profiles(levels_px=rows, s_px=np.arange(40) * 24.0, values=values)


@pytest.mark.parametrize(
    ("rubber_px", "shim_px", "count"),
    [(60.0, 10.0, 5), (20.0, 12.0, 11), (22.0, 10.0, 9), (100.0, 20.0, 3)],
)
def test_layers_are_counted_down_to_one_millimetre(
    rubber_px: float, shim_px: float, count: int
) -> None:
    stack = find_stack(_profiles(rubber_px, shim_px, count), mm_per_px=MM_PER_PX)
    assert stack is not None
    assert len(stack.shims) == count - 1
    assert stack.doubt == ""
    assert stack.top == pytest.approx(300.0, abs=4.0)  # 2 rows of 2 px


def test_a_stack_half_hidden_by_a_rule_is_found_by_the_deeper_search() -> None:
    profiles = _profiles(80.0, 14.0, 3, hidden=0.62)
    stack = find_stack(profiles, mm_per_px=MM_PER_PX, partly=True)
    assert stack is not None
    assert len(stack.shims) == 2
    assert "a part of their length" in stack.doubt


def test_plates_like_shims_as_thick_as_rubber_leave_a_doubt() -> None:
    stack = find_stack(_profiles(27.0, 27.0, 5, plate=SHIM), mm_per_px=MM_PER_PX)
    assert stack is not None
    assert len(stack.shims) == 4
    assert "mixed up" in stack.doubt


@pytest.mark.parametrize("tone", [0.14, 0.2])
def test_a_faint_line_across_a_plate_like_the_rubber_is_no_shim(tone: float) -> None:
    plate = (RUBBER[0] + tone, 0.0, 0.0)
    profiles = _profiles(60.0, 10.0, 3, plate=plate)
    rows = profiles.levels_px
    end = 300.0 + 3 * 60.0 + 2 * 10.0
    for line in ((rows >= 292.0) & (rows < 300.0), (rows >= end) & (rows < end + 8.0)):
        profiles.values[line] += np.array([0.12, 0.0, 0.0], np.float32)  # a lit rim
    stack = find_stack(profiles, mm_per_px=MM_PER_PX)
    assert stack is not None
    assert len(stack.shims) == 2
    assert stack.top == pytest.approx(300.0, abs=10.0)  # within the rim


def test_a_shim_is_seen_beside_a_step_in_colour_that_is_stronger() -> None:
    contrast = np.zeros((1, 40, 3))
    contrast[0, 10], contrast[0, 12] = (20.0, 0.0, 2.0), (0.0, 0.0, 22.0)
    seen = Contrasts(
        levels_px=np.arange(40.0), thickness_px=np.array([3.0]), contrast=contrast, apart=5
    )
    assert [b.level_px for b in seen.bands()] == [12.0]
    alike = seen.bands(like=np.array([3.0, 0.0, 0.0]))
    assert [b.level_px for b in alike] == [10.0]
    assert alike[0].strength == pytest.approx(20.0)


def test_what_few_blocks_show_beside_a_card_is_no_layer() -> None:
    profiles = _profiles(60.0, 10.0, 9)
    below = profiles.levels_px > 300.0 + 3 * 60.0 + 2.5 * 10.0
    profiles.values[np.ix_(below, np.arange(40) >= 1)] = np.nan  # 1 of 40 is left free
    stack = find_stack(profiles, mm_per_px=MM_PER_PX)
    assert stack is not None
    assert len(stack.shims) == 2


def test_no_stack_is_made_up_where_there_is_none() -> None:
    assert find_stack(_profiles(60.0, 10.0, 1), mm_per_px=MM_PER_PX) is None


def test_doubt_is_stored_and_read_back() -> None:
    edge = Edge(layers=(), shape=(10, 20), doubt="the stack runs out of the photo")
    assert Edge.from_dict(edge.to_dict()).doubt == edge.doubt
