"""Words for kinds, states and outcomes, the same on every page."""

from collections.abc import Collection, Mapping
from typing import Any

import streamlit as st

from damagescore.quality import Check
from damagescore.quantity import Length, Measured, Quantity, format_quantity
from damagescore.report.words import DISPOSITIONS, METHODS, OUTCOMES, QUANTITIES

_MAIN: Mapping[str, str] = {
    "crack": "length",
    "bond_gap": "length",
    "crumbling": "area",
    "bulge": "peak",
}

OUTCOME_SIGNS: Mapping[str, str] = {
    "within": "✓",
    "borderline": "◐",
    "exceeded": "✕",
    "not_measured": "–",
    "not_fully_assessed": "◌",
    "pass": "✓",
    "warn": "◐",
    "refuse": "✕",
}

OUTCOME_COLOURS: Mapping[str, str] = {
    "within": "green",
    "borderline": "orange",
    "exceeded": "red",
    "not_measured": "gray",
    "not_fully_assessed": "gray",
    "pass": "green",
    "warn": "orange",
    "refuse": "red",
}
"""Names of the theme's own colours."""

KIND_WORDS: Mapping[str, str] = {
    "crack": "Crack",
    "bond_gap": "Bond gap",
    "crumbling": "Crumbling",
    "bulge": "Bulge",
}

INVENTED_BADGE = "INVENTED LIMITS, for demonstration only"

CAUTIONS = (
    "The approved maintenance data for the part govern. "
    "A photo shows neither the depth of a crack nor hidden loss of bond. "
    "A proposal is not a measurement until an inspector has confirmed it; a qualified "
    "inspector decides and signs."
)


def main_quantity(kind: str, quantities: Collection[str]) -> str:
    """The quantity that a finding is known by; of a layer that only stands back its recess."""
    name = _MAIN[kind]
    return "recess" if name not in quantities and "recess" in quantities else name


def quantity_words(name: str) -> str:
    """Words for a quantity, with a capital."""
    return _capital(QUANTITIES.get(name, name.replace("_", " ")))


def value_words(quantity: Quantity, *, unit: Length) -> str:
    """Show a value with its expanded uncertainty; 0 without one was looked for in vain."""
    if isinstance(quantity, Measured) and quantity.value == 0 and quantity.u == 0:
        return "0 (none found)"
    return format_quantity(quantity, unit=unit)


def outcome_words(outcome: str) -> str:
    """Words for an outcome, with its sign."""
    words = OUTCOMES[outcome][0] if outcome in OUTCOMES else outcome.replace("_", " ")
    return f"{OUTCOME_SIGNS.get(outcome, '')} {_capital(words.lower())}".strip()


def disposition_words(name: str) -> str:
    """Words for what the inspector decided."""
    return _capital(DISPOSITIONS.get(name, name.replace("_", " ")))


def method_words(name: str) -> str:
    """Words for the way that the scale was found."""
    return _capital(METHODS.get(name, name.replace("_", " ")))


def check_words(check: Mapping[str, Any], *, unit: Length) -> str:
    """Sentence of a check of a photo, given as plain data, in the unit chosen."""
    return Check.from_dict(check).words(unit)


def outcome_badge(outcome: str | None, *, words: str = "") -> None:
    """Show an outcome as a badge whose sign says the same without colour.

    `words` say it more exactly than its usual ones.
    """
    if outcome is None:
        st.badge("Not assessed", color="gray")
        return
    sign = OUTCOME_SIGNS.get(outcome, "")
    shown = f"{sign} {words}".strip() if words else outcome_words(outcome)
    st.badge(shown, color=OUTCOME_COLOURS.get(outcome, "gray"))  # type: ignore[arg-type]


def invented_badge() -> None:
    """Mark limits that stand for no real part."""
    st.badge(INVENTED_BADGE, icon=":material/experiment:", color="violet")


def when(at: str | None) -> str:
    """Show an ISO 8601 time to the minute, UTC."""
    return "" if not at else at[:16].replace("T", " ") + " UTC"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def as_it_is(text: str) -> str:
    """Text that Markdown leaves as it is."""
    return "".join(f"\\{c}" if c in "\\`*_{}[]()#+-.!|~<>:$" else c for c in text)


def as_written(text: str) -> str:
    """Text that somebody typed or a file holds, as it is, not as markup."""
    return "".join(f"\\{c}" if c in "\\`*_{}[]<>()#+-.!|~$:" else c for c in text)
