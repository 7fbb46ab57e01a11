"""Places of photos on a circumference that are off: claimed uncertainty against real error."""

import math
from dataclasses import replace

import numpy as np

from damagescore.around import RoundPhoto, look_around, round_photo
from damagescore.quantity import Measured
from tests.round_samples import (
    HALF_DEG,
    RADIUS_MM,
    U_CLOCK_DEG,
    line,
    round_measurement,
    round_options,
)

DRAWS = 400
BAND = (0.8, 1.2)
"""A standard deviation of 200 draws is good to 5 %; four of these."""


def photos(turns: dict[float, float], ends: tuple[float, float]) -> list[RoundPhoto]:
    """Photos said to be at some hours and truly turned from there by some degrees."""
    found = []
    for number, (hours, turn) in enumerate(turns.items(), start=1):
        # What a photo shows follows from where it truly is.
        crack = line("crack-1", hours * 30 + turn, *ends)
        photo = round_photo(
            round_measurement(crack), round_options(hours), number=number, states={}
        )
        assert photo is not None
        found.append(photo)
    return found


def test_the_length_of_a_joined_crack_is_as_uncertain_as_it_says() -> None:
    """A crack over 80 degrees, half of it on each of two photos."""
    generator = np.random.default_rng(20310430)
    errors, claims = [], []
    for turns in generator.normal(0, U_CLOCK_DEG, (DRAWS // 2, 2)):
        said = dict(zip((12.0, 2.5), turns, strict=True))
        (damage,) = look_around(photos(said, (20.0, 100.0))).damages
        length = damage.quantities["length"]
        assert isinstance(length, Measured)
        errors.append(length.value - math.radians(80) * RADIUS_MM)
        claims.append(math.hypot(*(c.u for c in length.budget if c.source.startswith("place"))))
    ratio = float(np.std(errors) / np.mean(claims))
    assert BAND[0] < ratio < BAND[1]


def test_the_angle_seen_is_as_uncertain_as_it_says() -> None:
    """Two photos that overlap: only their outer ends are free."""
    generator = np.random.default_rng(7)
    plain = photos({12.0: 0.0, 2.0: 0.0}, (20.0, 30.0))
    told = look_around(plain).seen_deg
    seen = []
    for turns in generator.normal(0, U_CLOCK_DEG, (DRAWS, 2)):
        moved = [
            replace(
                p, arcs={k: tuple(((s + t) % 360, e) for s, e in v) for k, v in p.arcs.items()}
            )
            for p, t in zip(plain, turns, strict=True)
        ]
        seen.append(look_around(moved).seen_deg.value)
    ratio = float(np.std(seen) / told.u)
    assert BAND[0] < ratio < BAND[1]


def test_a_circle_called_complete_is_complete() -> None:
    """Four joints that are only just sure: arcs taken shorter by 1.65 u at each end just meet.

    Such a joint opens where two photos are apart by 3.3 u more than they are said to be,
    2.33 standard deviations of their difference: 1 in 100, and 4 in 100 for four joints.
    """
    generator = np.random.default_rng(11)
    step = (
        2 * HALF_DEG - 2 * 1.65 * U_CLOCK_DEG - 0.6
    )  # less what the arcs' ends are stepped by
    plain = photos({k * step / 30: 0.0 for k in range(5)}, (1.0, 2.0))
    assert look_around(plain).complete
    closed = []
    for turns in generator.normal(0, U_CLOCK_DEG, (DRAWS, 5)):
        moved = [
            replace(
                p, sightings=(),
                arcs={k: tuple(((s + t) % 360, e) for s, e in v) for k, v in p.arcs.items()},
            )
            for p, t in zip(plain, turns, strict=True)
        ]  # fmt: skip
        closed.append(look_around(moved).seen_deg.value > 360 - 1e-9)
    assert np.mean(closed) > 0.93  # 0.96 less three standard deviations of 400 draws
