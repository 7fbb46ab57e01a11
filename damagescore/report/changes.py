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
        if before.get("slot") == "layers":
            return _layers_text(before, after, unit=unit)
        if before.get("slot") == "link":
            return _link_text(before, after, unit=unit)
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


def _layers_text(before: Mapping[str, Any], after: Mapping[str, Any], *, unit: Length) -> str:
    """Old and new layers with their thickness, and the findings whose kind followed."""
    old, new = ([x for x in p["layers"].values() if x] for p in (before, after))
    said = []
    if before["n_layers"] != after["n_layers"]:
        said.append(f"{before['n_layers']} layers → {after['n_layers']} layers")
    # Layers that only got another number are not told.
    shapes = [[x["polygon_px"] for x in layers] for layers in (old, new)]
    gone = [_layer_text(x, unit) for x in old if x["polygon_px"] not in shapes[1]]
    come = [_layer_text(x, unit) for x in new if x["polygon_px"] not in shapes[0]]
    said.append(f"{', '.join(gone) or NOTHING} → {', '.join(come) or NOTHING}")
    for name, finding in after["findings"].items():
        was = before["findings"].get(name)
        if finding and was and finding["kind"] != was["kind"]:
            kinds = (words_of(x["kind"], KINDS) for x in (was, finding))
            said.append(f"{name} {' → '.join(kinds)}")
    return "; ".join(said)


def _link_text(before: Mapping[str, Any], after: Mapping[str, Any], *, unit: Length) -> str:
    """Lengths of the two findings and of the one that they became, or the other way round."""
    told = []
    for patch in (before, after):
        found = [x for x in (patch.get("findings") or {}).values() if x]
        lengths = [quantity_from_dict(x["quantities"]["length"]) for x in found]
        told.append(" and ".join(value_text(x, unit) for x in lengths))
    return f"length {' → '.join(told)}" if all(told) else ""


def _layer_text(layer: Mapping[str, Any], unit: Length) -> str:
    thickness = value_text(quantity_from_dict(layer["thickness"]), unit)
    return f"layer {layer['index']} ({layer['kind']}) {thickness}"


def _facts(patch: Mapping[str, Any], *, unit: Length) -> dict[str, str]:
    if patch.get("slot") in ("part", "task"):
        given = {k: v for k, v in patch[patch["slot"]].items() if v not in ("", None)}
        return {words_of(k, {}): str(v)[:80] for k, v in given.items()}
    if patch.get("slot") == "rulers":
        return {"measuring lines": str(len(patch["rulers"]))}
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
