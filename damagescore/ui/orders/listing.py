"""All work orders, and a new one from a table or an order file."""

import tempfile
from pathlib import Path
from typing import Any

import streamlit as st

from damagescore.errors import UsageError
from damagescore.inspection.record import Part
from damagescore.measurement import CLOCK_WITHIN_DEG, MOST_CLOCK_WITHIN_DEG
from damagescore.orders.order_file import read_order
from damagescore.orders.record import Order, OrderPart, new_order
from damagescore.quantity import MM_PER_INCH
from damagescore.scale import ScaleRequest
from damagescore.ui.orders.kept import keep_new, open_order, orders
from damagescore.ui.session import flash, told, unit
from damagescore.ui.words import when

PAGE = 25

WITHIN = "Placed within, ± degrees"
"""Column of the table: how well the cards stand at their clock positions."""


def order_list(*, locked: bool) -> None:
    """Draw the list, and the form of a new order."""
    found = orders().list()
    if not found:
        st.info(
            "No work order yet. An order holds many parts: drop all photos at once, they sort "
            "themselves to the parts, and the list says which part needs an inspector first."
        )
    if not locked:
        with st.expander("New work order", expanded=not found, icon=":material/add:"):
            _new()
    shown = st.session_state.get("orders-shown", PAGE)
    for summary in found[:shown]:
        with st.container(border=True):
            facts, action = st.columns([4, 1], vertical_alignment="center")
            facts.markdown(f"**{summary.number}**")
            about = [summary.customer_reference] if summary.customer_reference else []
            facts.caption(" · ".join([*about, f"came in {when(summary.created_at)}"]))
            action.button(
                "Open", key=f"order-{summary.id}", on_click=open_order, args=(summary.id,),
                width="stretch",
            )  # fmt: skip
    if len(found) > shown and st.button("Show more", key="orders-more"):
        st.session_state["orders-shown"] = shown + PAGE
        st.rerun()


def _new() -> None:
    way = st.segmented_control(
        "From", ["A table", "An order file"], default="A table", required=True, key="order-way",
        label_visibility="collapsed",
    )  # fmt: skip
    if way == "An order file":
        _from_file()
    else:
        _from_table()


def _from_file() -> None:
    file = st.file_uploader("Order file (order.toml)", type=["toml"], key="order-file")
    if st.button("Make the order", type="primary", key="order-from-file", disabled=not file):
        assert file is not None
        with told(), tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "order.toml"
            path.write_bytes(file.getvalue())
            _made(read_order(path))


def _from_table() -> None:
    left, right = st.columns(2)
    number = left.text_input("Order number", key="order-number", placeholder="HVRW-0917")
    reference = right.text_input(
        "Customer reference", key="order-reference", placeholder="free text"
    )
    st.caption(
        "Parts: one line each. Clock positions are for round edges, such as 12, 3, 6, 9."
    )
    radius = f"Edge radius, {unit()}"
    rows = st.data_editor(
        [dict.fromkeys(("Part number", "Serial number"), "")], num_rows="dynamic",
        key=f"order-parts-{unit()}", width="stretch", hide_index=True,
        column_order=("Part number", "Serial number", "Hours", "Cycles", radius,
                      "Clock positions", WITHIN),
        column_config={
            "Part number": st.column_config.TextColumn(max_chars=200),
            "Serial number": st.column_config.TextColumn(max_chars=200),
            "Hours": st.column_config.NumberColumn(min_value=0),
            "Cycles": st.column_config.NumberColumn(min_value=0),
            radius: st.column_config.NumberColumn(min_value=0),
            "Clock positions": st.column_config.TextColumn(max_chars=100),
            WITHIN: st.column_config.NumberColumn(
                min_value=0.1, max_value=MOST_CLOCK_WITHIN_DEG,
                help=f"How far a card may stand off its position; empty: {CLOCK_WITHIN_DEG:g}.",
            ),
        },
    )  # fmt: skip
    if st.button("Make the order", type="primary", key="order-make"):
        with told():
            parts = tuple(part_of(r, radius) for r in rows if any(r.values()))
            _made(new_order(number, parts, customer_reference=reference))


def part_of(row: dict[str, Any], radius: str) -> OrderPart:
    """The part of one line of the table; `radius` names the column of the edge's radius.

    Raises
    ------
    UsageError
        When the clock positions are no hours.
    """
    factor = MM_PER_INCH if radius.endswith("in") else 1.0
    part = Part(
        part_number=row.get("Part number") or "", serial_number=row.get("Serial number") or "",
        hours=row.get("Hours"), cycles=row.get("Cycles"),
    )  # fmt: skip
    value = row.get(radius)
    scale = ScaleRequest(edge_radius_mm=value * factor if value else None)
    return OrderPart(
        part=part, scale=scale, clock_hours=hours_of(row.get("Clock positions")),
        clock_within_deg=row.get(WITHIN) or CLOCK_WITHIN_DEG,
    )  # fmt: skip


def hours_of(text: str | None) -> tuple[float, ...]:
    """Clock positions from a text such as "12, 3, 4:30".

    Raises
    ------
    UsageError
        When one is no hour.
    """
    found = []
    for word in (text or "").replace(";", ",").split(","):
        hours, _, minutes = word.strip().partition(":")
        if not hours and not minutes:
            continue
        try:
            found.append(float(hours) + float(minutes or 0) / 60)
        except ValueError as fault:
            raise UsageError(
                f"The clock position {word.strip()[:20]!r} is no hour.",
                remedy="Give hours such as 12, 3, 4:30.",
            ) from fault
    return tuple(found)


def _made(order: Order) -> None:
    keep_new(order)
    open_order(order.id)
    flash(f"Order {order.number} is kept. Add its photos now, or print its job cards.")
    st.rerun()
