"""A round edge whose seen arcs, overlaps and damage are known in closed form."""

import math

import pytest

from damagescore.around import Around, look_around, round_photo
from damagescore.damage.record import Finding
from damagescore.quantity import Measured
from tests.round_samples import (
    HALF_DEG,
    RADIUS_MM,
    U_CLOCK_DEG,
    line,
    patch,
    round_measurement,
    round_options,
)

STATION_DEG = 0.3
"""Arcs are as fine as a 400th of a layer's length in the photo (80 mm): 0.2 mm, 0.25 deg at
45 degrees of turn, where a step in the photo is longest on the surface."""


def around(*photos: tuple[float, tuple[Finding, ...]], **states: str) -> Around:
    found = [
        round_photo(round_measurement(*findings), round_options(hours), number=n, states=states)
        for n, (hours, findings) in enumerate(photos, start=1)
    ]
    return look_around([p for p in found if p is not None])


def test_one_photo_sees_its_arc() -> None:
    seen = around((3.0, ()))
    (arc,) = seen.seen
    assert arc[0] == pytest.approx(90 - HALF_DEG, abs=STATION_DEG)  # its finest step
    assert arc[1] == pytest.approx(2 * HALF_DEG, abs=2 * STATION_DEG)  # a step at each end
    assert not seen.complete
    assert seen.rest == "90 deg of 360 seen; nothing can be said of the rest." or (
        seen.rest.startswith("89 deg")
    )


def test_overlaps_are_not_counted_twice() -> None:
    seen = around((12.0, ()), (1.0, ()), (3.0, ()))
    assert seen.seen_deg.value == pytest.approx(180, abs=2 * STATION_DEG)  # -45 to 135 deg
    # Only the two outer ends are free: one photo turned moves one end each.
    expected = math.hypot(U_CLOCK_DEG, U_CLOCK_DEG)
    assert seen.seen_deg.u == pytest.approx(expected, rel=0.05)  # ends are stepped


@pytest.mark.parametrize(
    ("hours", "complete", "words"),
    [
        ((12, 3, 6, 9), False, "overlap by less"),
        ((0, 2.4, 4.8, 7.2, 9.6), True, ""),
        ((12, 3, 6), False, "nothing can be said of the rest"),
    ],
    ids=["meeting", "overlapping", "open"],
)
def test_all_is_seen_only_if_the_overlaps_are_sure(
    hours: tuple[float, ...], complete: bool, words: str
) -> None:
    seen = around(*((h, ()) for h in hours))
    assert seen.complete is complete
    # Four arcs of 90 degrees meet exactly, but for the stepping of their ends.
    assert words in seen.rest or (len(hours) == 4 and "35" in seen.rest)


def test_a_crack_on_two_photos_counts_once_from_the_photo_that_faces_it() -> None:
    first, second = line("crack-1", 0, 30, 42), line("crack-7", 30, 30, 42)
    (damage,) = around((12.0, (first,)), (1.0, (second,))).damages
    assert damage.name == "crack-7, photo 2 (also crack-1, photo 1)"
    assert damage.quantities["length"] == second.quantities["length"]
    assert damage.arc == pytest.approx((30, 12), abs=0.01)  # arcsin of rounded pixels


def test_a_crack_longer_than_each_photo_is_joined() -> None:
    """From 20 to 100 degrees, seen from 12 (to 45) and from 3 o'clock (from 45)."""
    first, second = line("crack-1", 0, 20, 100), line("crack-1", 75, 20, 100)
    seen = around((12.0, (first,)), (2.5, (second,)))
    (damage,) = seen.damages
    whole = math.radians(80) * RADIUS_MM
    length = damage.quantities["length"]
    assert isinstance(length, Measured)
    assert length.value == pytest.approx(whole, rel=0.01)  # ends in steps of 0.3 of 80 deg
    joint = next(c.u for c in length.budget if c.source.startswith("place"))
    # The joint moves by both clock positions: sqrt(2) degrees of 32 mm.
    assert joint == pytest.approx(math.radians(math.sqrt(2)) * RADIUS_MM, rel=0.01)  # as above
    assert damage.arc == pytest.approx((20, 80), abs=0.01)  # arcsin of rounded pixels


def test_an_area_over_two_photos_is_joined() -> None:
    first, second = patch("crumbling-1", 0, 20, 100), patch("crumbling-1", 75, 20, 100)
    (damage,) = around((12.0, (first,)), (2.5, (second,))).damages
    area = damage.quantities["area"]
    assert isinstance(area, Measured)
    assert area.value == pytest.approx(math.radians(80) * RADIUS_MM * 4, rel=0.01)  # steps


@pytest.mark.parametrize(
    "other",
    [
        line("crack-1", 30, 30, 42, layer=2),
        line("crack-1", 30, 30, 42, height=0.9),
        line("bond_gap-1", 30, 30, 42, kind="bond_gap"),
        line("crack-1", 30, 5, 12),
    ],
    ids=["another layer", "another height", "another kind", "another place"],
)
def test_different_damage_is_not_joined(other: Finding) -> None:
    first = line("crack-1", 0, 30, 42)
    assert len(around((12.0, (first,)), (1.0, (other,))).damages) == 2


def test_what_only_one_photo_could_see_is_not_joined() -> None:
    first, second = line("crack-1", 0, -30, -20), line("crack-1", 90, 110, 120)
    assert len(around((12.0, (first,)), (3.0, (second,))).damages) == 2


def test_two_cracks_on_each_of_two_photos_stay_two() -> None:
    pair = [(25, 30), (36, 41)]
    first = tuple(line(f"crack-{i}", 0, *p) for i, p in enumerate(pair))
    second = tuple(line(f"crack-{i}", 60, *p) for i, p in enumerate(pair))
    found = around((12.0, first), (2.0, second)).damages
    assert len(found) == 2
    assert sum(len(d.sightings) for d in found) == 4


def test_photos_over_the_zero_are_joined() -> None:
    first, second = line("crack-1", 345, 352, 366), line("crack-1", 15, 352, 366)
    (damage,) = around((11.5, (first,)), (0.5, (second,))).damages
    assert damage.arc == pytest.approx((352, 14), abs=0.01)  # arcsin of rounded pixels


def test_a_rejected_finding_does_not_count() -> None:
    crack = line("crack-1", 0, 30, 42)
    assert around((12.0, (crack,)), **{"crack-1": "rejected"}).damages == ()


def test_a_refused_photo_sees_nothing() -> None:
    plain = round_measurement(usable=False)
    photo = round_photo(plain, round_options(3), number=1, states={})
    assert photo is not None
    seen = look_around([photo])
    assert seen.seen_deg.value == 0
    assert not seen.complete


def test_other_radii_are_not_joined() -> None:
    crack = line("crack-1", 0, 30, 42)
    photos = [
        round_photo(round_measurement(crack), round_options(0.5, radius_mm=r), number=n,
                    states={})
        for n, r in enumerate((32.0, 40.0), start=1)
    ]  # fmt: skip
    seen = look_around([p for p in photos if p is not None])
    assert "radii of 32 and 40 mm" in seen.rest
    assert len(seen.damages) == 2


def test_a_photo_without_a_clock_position_has_no_place() -> None:
    options = round_options(3) | {"clock_hours": None}
    assert round_photo(round_measurement(), options, number=1, states={}) is None
