"""Sentences of checks in the unit that the user chose."""

import pytest

from damagescore.quality import Amount, Check


def _check(message: str, **amounts: Amount) -> Check:
    return Check(
        name="focus", outcome="warn", value=1.0, unit="mm", message=message, amounts=amounts
    )


@pytest.mark.parametrize(
    ("amount", "millimetres", "inches"),
    [
        # The inch is 25.4 mm exactly (international yard and pound agreement, 1959).
        (Amount(value=24.9, unit="px/mm", form=".1f"), "24.9 px/mm", "632 px/in"),
        (Amount(value=0.1, unit="mm", form=".2f"), "0.10 mm", "0.00394 in"),
        (Amount(value=25.4, unit="mm", form="g"), "25.4 mm", "1 in"),
    ],
)
def test_amounts_follow_the_unit(amount: Amount, millimetres: str, inches: str) -> None:
    check = _check("Seen: {x}, 12 px and 3 %.", x=amount)
    assert check.words() == f"Seen: {millimetres}, 12 px and 3 %."
    assert check.words("in") == f"Seen: {inches}, 12 px and 3 %."


def test_a_check_comes_back_from_plain_data_and_others_read_millimetres() -> None:
    check = _check("Down to {x}.", x=Amount(value=0.5, unit="mm", form=".2f"))
    plain = check.to_dict()
    assert plain["message"] == "Down to 0.50 mm."
    assert Check.from_dict(plain) == check


def test_a_record_of_an_earlier_version_keeps_its_sentence() -> None:
    plain = _check("The name {x} is odd.").to_dict()
    assert "wording" not in plain
    assert Check.from_dict(plain).words("in") == "The name {x} is odd."
