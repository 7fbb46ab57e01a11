"""Values taken by hand: probed depth, height, stiffness retention."""

from dataclasses import replace

from damagescore.errors import RecordError
from damagescore.inspection.checks import checked_time, name_of, text_of
from damagescore.inspection.editing import edited
from damagescore.inspection.patches import hand_patch
from damagescore.inspection.record import HandMeasurement, Inspection
from damagescore.limits import hand_quantities, quantity_kind, to_base
from damagescore.quantity import Contribution, Measured, NotMeasured, Quantity


def add_hand_measurement(inspection: Inspection, hand: HandMeasurement) -> Inspection:
    """Add a value taken by hand; inches are kept as millimetres.

    Raises
    ------
    RecordError
        When the quantity is none of the hand quantities, its unit does not fit, the
        value is negative, or gauge or name is missing.
    """
    checked = _checked_hand(hand)
    after = replace(inspection, hand=(*inspection.hand, checked))
    return edited(
        inspection, "add_hand_measurement", _hand_name(checked, len(after.hand)),
        by=checked.by, at=checked.at, reason=checked.note,
        before=hand_patch(inspection), after=hand_patch(after),
    )  # fmt: skip


def remove_hand_measurement(
    inspection: Inspection, number: int, *, by: str, reason: str, at: str | None = None
) -> Inspection:
    """Take out the hand measurement of a number, counted from 1; the reason is needed."""
    if not 1 <= number <= len(inspection.hand):
        raise RecordError(
            f"There is no hand measurement {number}; the record has {len(inspection.hand)}.",
            remedy="Give the number that stands beside it.",
        )
    reason = text_of(reason, "The reason for removing a hand measurement", needed=True)
    kept = inspection.hand[: number - 1] + inspection.hand[number:]
    return edited(
        inspection, "remove_hand_measurement", _hand_name(inspection.hand[number - 1], number),
        by=by, reason=reason, at=at, before=hand_patch(inspection),
        after=hand_patch(replace(inspection, hand=kept)),
    )  # fmt: skip


def _hand_name(hand: HandMeasurement, number: int) -> str:
    return f"hand measurement {number}: {quantity_kind(hand.quantity).label}"


def _checked_hand(hand: HandMeasurement) -> HandMeasurement:
    names = [k.name for k in hand_quantities()]
    if hand.quantity not in names:
        raise RecordError(
            f"{hand.quantity!r} is not measured by hand.",
            remedy=f"Choose one of: {', '.join(names)}.",
        )
    if hand.layer is not None and hand.layer < 0:
        raise RecordError(
            f"The layer is {hand.layer}.", remedy="Layers count from 0 at the bottom."
        )
    return replace(
        hand,
        value=_in_base(hand.value, hand.quantity),
        gauge_id=name_of(hand.gauge_id, "The gauge's id", needed=True),
        by=name_of(hand.by, "The name", needed=True),
        at=checked_time(hand.at or None),
        note=text_of(hand.note, "The note"),
    )


def _in_base(value: Quantity, quantity: str) -> Quantity:
    unit = quantity_kind(quantity).unit
    if value.unit != unit and (value.unit, unit) != ("in", "mm"):
        raise RecordError(
            f"The value of {quantity} is in {value.unit!r}.", remedy=f"Give it in {unit}."
        )
    if isinstance(value, NotMeasured):
        return NotMeasured(reason=text_of(value.reason, "The reason", needed=True), unit=unit)
    if value.value < 0:
        raise RecordError(
            f"The value of {quantity} is {value.value}, below 0.",
            remedy="Give a value of 0 or more.",
        )
    budget = tuple(
        Contribution(source=c.source, u=to_base(c.u, value.unit)) for c in value.budget
    )
    return Measured(
        value=to_base(value.value, value.unit), u=to_base(value.u, value.unit), unit=unit,
        budget=budget,
    )  # fmt: skip
