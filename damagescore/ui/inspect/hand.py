"""Step 4: what is measured by hand."""

import streamlit as st

from damagescore.inspection.record import HandMeasurement, Inspection
from damagescore.limits import hand_quantities
from damagescore.quantity import MM_PER_INCH, Measured, format_quantity
from damagescore.ui.edits import add_hand, remove_hand
from damagescore.ui.session import flash, unit
from damagescore.ui.words import when


def hand_step(inspection: Inspection, *, locked: bool) -> None:
    """Enter and list hand measurements."""
    st.subheader("Hand measurements")
    st.write(
        "A photo shows no depth. Enter what your maintenance data want probed or measured, "
        "with the gauge and its standard uncertainty."
    )
    if not locked:
        _form(inspection)
    if not inspection.hand:
        st.caption("Nothing was measured by hand so far.")
    for number, hand in enumerate(inspection.hand, start=1):
        with st.container(border=True, horizontal=True, vertical_alignment="center"):
            st.markdown(hand_words(hand))
            if not locked:
                _remove(inspection, number)


def hand_words(hand: HandMeasurement) -> str:
    """One line on a hand measurement."""
    labels = {k.name: k.label for k in hand_quantities()}
    label = labels.get(hand.quantity, hand.quantity)
    layer = "" if hand.layer is None else f", layer {hand.layer}"
    note = f" · {hand.note}" if hand.note else ""
    return (
        f"**{label[:1].upper()}{label[1:]}{layer}: "
        f"{format_quantity(hand.value, unit=unit())}**  \n"
        f"gauge {hand.gauge_id} · {hand.by}, {when(hand.at)}{note}"
    )


def _form(inspection: Inspection) -> None:
    kinds = {k.name: k for k in hand_quantities()}
    quantity = st.selectbox(
        "What was measured", list(kinds),
        format_func=lambda name: kinds[name].label[:1].upper() + kinds[name].label[1:],
        key="hand-quantity",
    )  # fmt: skip
    kind = kinds[quantity]
    shown = unit() if kind.dimension == "length" else "%"
    with st.form("hand", clear_on_submit=True):
        first, second, third = st.columns(3)
        value = first.number_input(
            f"Value, {shown}", value=None, step=None, format="%g", key=f"hand-value-{shown}"
        )
        u = second.number_input(
            f"Standard uncertainty, {shown}", min_value=0.0, value=None, step=None, format="%g",
            key=f"hand-u-{shown}", help="k = 1. A calibration's U at k = 2 divided by 2.",
        )  # fmt: skip
        layer = third.number_input(
            "Layer", min_value=0, max_value=120, value=None, key="hand-layer",
            placeholder="of the whole part",
        )  # fmt: skip
        gauge, note = st.columns([1, 2])
        gauge_id = gauge.text_input("Gauge id", key="hand-gauge", placeholder="such as DG-07")
        words = note.text_input("Note", key="hand-note", max_chars=200)
        sent = st.form_submit_button("Add the measurement", key="hand-add")
    if not sent:
        return
    if value is None or u is None:
        st.error("The value or its uncertainty is missing.", icon=":material/error:")
        return
    factor = MM_PER_INCH if shown == "in" else 1.0
    measured = Measured(value=value * factor, u=u * factor, unit=kind.unit)
    fault = add_hand(
        inspection.id, quantity=quantity, value=measured, gauge_id=gauge_id.strip(),
        layer=layer, note=words.strip(),
    )  # fmt: skip
    if fault is not None:
        st.error(str(fault), icon=":material/error:")
        return
    st.rerun()


def _remove(inspection: Inspection, number: int) -> None:
    with st.popover("Remove", key=f"pop-hand-{number}"):
        reason = st.text_input("Why", key=f"hand-why-{number}", max_chars=200)
        if st.button("Remove it", key=f"hand-remove-{number}"):
            fault = remove_hand(inspection.id, number, reason=reason)
            if fault is not None:
                flash(str(fault), bad=True)
            st.rerun()
