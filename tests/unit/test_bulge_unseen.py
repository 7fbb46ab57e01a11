"""What rows beside the bonds may hide, against closed forms and drawn numbers."""

import numpy as np
import pytest

from damagescore.damage.bulge_unseen import BOND_MARGIN, _beyond, u_at_bonds


@pytest.mark.parametrize(("mean", "spread"), [(-0.02, 0.01), (0.0, 0.01), (0.03, 0.01)])
def test_mean_square_of_what_lies_beyond(mean, spread):
    drawn = np.random.default_rng(4).normal(mean, spread, 400_000)
    true = np.mean(np.maximum(drawn, 0.0) ** 2)
    # 400 000 draws tell the mean square to 1 % where one in 40 lies beyond.
    assert _beyond(mean, spread) == pytest.approx(true, rel=0.03)


@pytest.mark.parametrize("spread", [0.0, 1e-300])
def test_what_is_certain_is_the_number_itself(spread):
    assert _beyond(0.2, spread) == pytest.approx(0.04)
    assert _beyond(-0.2, spread) == 0.0


def test_a_bulge_hides_nothing_at_its_bonds():
    place = np.linspace(-0.88, 0.88, 90)
    assert u_at_bonds(0.5 * (1 - place**2)) < 1e-3  # of 0.5


def test_a_rising_end_hides_what_it_rises_by():
    out = np.linspace(0.0, 0.88, 89)  # 0.01 a row
    left_out = round(BOND_MARGIN * 89 / (1 - 2 * BOND_MARGIN))
    # Up or down by 0.01 a row, either as likely; six rows further in is the neighbour's.
    expected = np.hypot(0.01 * left_out / 2**0.5, 0.06 / 3**0.5)
    assert u_at_bonds(out) == pytest.approx(expected, rel=1e-6)


def test_claims_for_a_rough_flat_layer_hold_what_its_bonds_hide():
    rng = np.random.default_rng(7)
    ratios = []
    for _ in range(300):
        rough = np.convolve(rng.normal(0, 0.01, 140), np.full(9, 1 / 3), mode="valid")[:100]
        seen = rough[6:-6]
        ratios.append((rough.max() - seen.max()) / max(u_at_bonds(seen), 1e-9))
    # Nine in ten within two: the claim is one number for an error that is often 0.
    assert np.mean(np.array(ratios) < 2.0) > 0.9
    assert np.sqrt(np.mean(np.square(ratios))) > 0.2  # nor is it far on the large side
