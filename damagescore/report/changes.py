"""What an edit changed, in few words; the JSON record holds all of it."""

from collections.abc import Mapping
from typing import Any

from damagescore.quantity import Length, quantity_from_dict
from damagescore.report.criteria import value_text
from damagescore.report.words import KINDS, OUTCOMES, QUANTITIES, STATES, words_of

NOTHING = "none"


def change_text(before: Any, after: Any, *, unit: Length) -> str:
    """Name what differs between two states of an edit: "length 3.1 mm → 3.4 mm".

    Empty where the edit's own words say all there is to say.
    """
    if isinstance(before, Mapping) and isinstance(after, Mapping):
        old, new = _facts(before, unit=unit), _facts(after, unit=unit)
    else:
        old, new = _plain(before), _plain(after)
    names = [name for name in {**old, **new} if old.get(name) != new.get(name)]
    return "; ".join(
        f"{name} {old.get(name, NOTHING)} → {new.get(name, NOTHING)}".strip() for name in names
    )


def _plain(value: Any) -> dict[str, str]:
    if not isinstance(value, str):
        return {}
    return {"": OUTCOMES[value][0].lower() if value in OUTCOMES else value[:80]}


def _facts(patch: Mapping[str, Any], *, unit: Length) -> dict[str, str]:
    if patch.get("slot") == "part":
        given = {k: v for k, v in patch["part"].items() if v not in ("", None)}
        return {words_of(k, {}): str(v)[:80] for k, v in given.items()}
    if patch.get("slot") != "finding":
        return {}
    review = patch.get("review")
    facts = {"": words_of("proposed" if review is None else review["state"], STATES)}
    finding = patch.get("finding")
    if finding is None:
        return facts
    facts["kind"] = words_of(finding["kind"], KINDS)
    facts["layer"] = str(finding["layer"])
    for name, quantity in finding["quantities"].items():
        facts[words_of(name, QUANTITIES)] = value_text(quantity_from_dict(quantity), unit)
    return facts
