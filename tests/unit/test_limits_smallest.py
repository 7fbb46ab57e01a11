"""The smallest length that the photos must show for a limit set."""

from damagescore.limits import Criterion, LimitSet


def _criterion(name: str, quantity: str, limit: float, unit: str, **more: object) -> Criterion:
    return Criterion(id=name, text=name, quantity=quantity, limit=limit, unit=unit, **more)


def _set(*criteria: Criterion) -> LimitSet:
    return LimitSet(title="test", criteria=criteria)


def test_inches_are_compared_in_mm() -> None:
    found = _set(
        _criterion("a", "crack_length", 0.1, "in"), _criterion("b", "crack_length", 3.0, "mm")
    )
    # exact: 1 in is 25.4 mm
    assert found.smallest_length_mm == 0.1 * 25.4


def test_a_counted_size_is_smaller_than_the_total_it_counts_in() -> None:
    total = _criterion(
        "a", "crack_length", 70.0, "mm", statistic="total", scope="part",
        min_size=1.5, min_size_unit="mm",
    )  # fmt: skip
    assert _set(total).smallest_length_mm == 1.5


def test_hand_values_shares_and_no_crack_allowed_ask_nothing_of_the_photo() -> None:
    found = _set(
        _criterion("a", "crack_depth", 0.3, "mm"),
        _criterion("b", "crack_length", 25.0, "%", statistic="share", scope="part"),
        _criterion("c", "bond_gap_length", 0.0, "mm"),
    )
    assert found.smallest_length_mm is None
