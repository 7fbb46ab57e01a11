"""Measure the photos of an order beside the page, and see how far it has come."""

import streamlit as st

from damagescore.orders.record import Order
from damagescore.quantity import count_words
from damagescore.ui.inspect.measuring_panel import EVERY_SECONDS
from damagescore.ui.limit_choice import choices, load_choice
from damagescore.ui.orders.kept import measure_order, to_measure
from damagescore.ui.session import desk, flash, store


def measuring(order: Order, *, locked: bool) -> None:
    """Draw what is left to measure, and the progress of what is being measured."""
    _progress(order)
    left = to_measure(order)
    if not left or locked:
        return
    begun = any(p.inspection_id for p in order.parts)
    with st.container(border=True):
        photos = count_words(left, "photo")
        st.markdown(f"**{photos} to measure**")
        known = choices()
        chosen = st.selectbox(
            "Compare with" if not begun else "Compare new parts with", known,
            format_func=lambda c: c.label, index=None, key="order-limits",
            placeholder="Choose a limit set, or none",
        )  # fmt: skip
        if st.button(f"Measure {photos}", type="primary", key="order-measure"):
            fault = measure_order(order.id, None if chosen is None else load_choice(chosen))
            if fault is not None:
                flash(str(fault), bad=True)
            st.rerun()


def _progress(order: Order) -> None:
    ids = tuple(p.inspection_id for p in order.parts if p.inspection_id)
    waiting = [p for i in ids for p in desk().progress(i)]
    if not waiting:
        return
    going = any(not p.photo.fault for p in waiting)
    panel = st.fragment(_panel, run_every=EVERY_SECONDS if going else None)
    panel(ids, _revisions(ids), len(order.photos) - len(order.to_assign))


def _revisions(ids: tuple[str, ...]) -> tuple[int, ...]:
    return tuple(store().revision(i) for i in ids)


def _panel(ids: tuple[str, ...], revisions: tuple[int, ...], count: int) -> None:
    waiting = [p for i in ids for p in desk().progress(i)]
    if _revisions(ids) != revisions or not waiting:
        st.rerun()  # a result was saved: the page shows it
    going = [p for p in waiting if not p.photo.fault]
    failed = [p for p in waiting if p.photo.fault]
    if going:
        done = max(0, count - len(going))
        now = ", ".join(p.photo.name for p in going if p.step)
        st.progress(min(done / max(count, 1), 1.0), text=f"{done} of {count} measured. {now}")
        st.caption("You can go on, reload the page or close it; measuring goes on.")
    for photo in failed:
        st.error(f"{photo.photo.name}: {photo.photo.fault}", icon=":material/error:")
    if failed:
        st.button(
            "Understood", key="order-forget", on_click=desk().drop,
            args=([p.photo.id for p in failed],),
        )  # fmt: skip
