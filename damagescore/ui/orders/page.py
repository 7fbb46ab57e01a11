"""Page: work orders."""

import streamlit as st

from damagescore.errors import DamageScoreError
from damagescore.orders.record import Order
from damagescore.quantity import count_words
from damagescore.ui.orders.assigning import assigning
from damagescore.ui.orders.before_after import before_after
from damagescore.ui.orders.kept import load_order, open_order, results_of
from damagescore.ui.orders.listing import order_list
from damagescore.ui.orders.measuring import measuring
from damagescore.ui.orders.papers import papers
from damagescore.ui.orders.summary import summary
from damagescore.ui.session import inspector, show_flashes, told
from damagescore.ui.words import when


def orders_page() -> None:
    """Draw the list of orders, or the open one."""
    order = _opened()
    if order is None:
        st.title("Work orders")
        show_flashes()
        _who()
        with told():
            order_list(locked=not inspector())
        return
    _head(order)
    show_flashes()
    _who()
    with told():
        _order(order, locked=not inspector())


def _opened() -> Order | None:
    named = st.query_params.get("order")
    if not named:
        return None
    try:
        return load_order(named)
    except DamageScoreError as fault:
        st.error(str(fault), icon=":material/error:")
        open_order(None)
        return None


def _head(order: Order) -> None:
    title, close = st.columns([5, 1.3], vertical_alignment="center")
    title.title(f"Work order {order.number}")
    close.button(
        "All orders", key="orders-back", icon=":material/arrow_back:", on_click=open_order,
        args=(None,), width="stretch",
    )  # fmt: skip
    facts = [f"came in {when(order.created_at)}", count_words(len(order.parts), "part"),
             count_words(len(order.photos), "photo")]  # fmt: skip
    if order.customer_reference:
        facts.insert(0, order.customer_reference)
    said = " · ".join(facts)
    st.caption(said[:1].upper() + said[1:])


def _who() -> None:
    """Ask who works, here too: on a narrow screen the sidebar is folded away."""
    if inspector():
        return

    def take() -> None:
        st.session_state["inspector_name"] = st.session_state["who-orders"]

    with st.container(border=True):
        st.text_input(
            "Who is working?", key="who-orders", placeholder="Your name, then Enter",
            on_change=take,
        )  # fmt: skip
        st.caption("Your name goes into every change. Until then orders are read-only.")


def _order(order: Order, *, locked: bool) -> None:
    if order.to_assign:
        waiting = count_words(len(order.to_assign), "photo")
        st.markdown(f":material/help: {waiting} to be assigned: see *Photos* below.")
    measuring(order, locked=locked)
    if any(p.inspection_id for p in order.parts):
        summary(order, results_of(order))
    assigning(order, locked=locked)
    papers(order)
    before_after(order)
