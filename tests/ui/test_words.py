"""Sentences of checks in the unit that the user chose."""

import pytest

from damagescore.ui.words import in_unit


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        # The inch is 25.4 mm exactly (international yard and pound agreement, 1959).
        ("The photo has 24.9 px/mm.", "The photo has 632 px/in."),
        ("Lines down to 0.10 mm wide", "Lines down to 0.00394 in wide"),
        ("a limit of 25.4 mm (6 are wanted)", "a limit of 1 in (6 are wanted)"),
        ("12 mm² of it, 3 % and 5 px", "12 mm² of it, 3 % and 5 px"),
    ],
)
def test_lengths_in_a_sentence_follow_the_unit(text: str, inches: str) -> None:
    assert in_unit(text, "in") == inches
    assert in_unit(text, "mm") == text
