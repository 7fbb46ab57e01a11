"""Page: history. Which parts are near their limits, and how each one got there."""

from collections.abc import Mapping

import streamlit as st

from damagescore.history.advice import ReinspectionRule
from damagescore.history.lives import LeftOut, Life
from damagescore.history.record import Axis
from damagescore.ui import history_data
from damagescore.ui.history_demo import demo_box
from damagescore.ui.history_fleet import fleet_view
from damagescore.ui.history_part import part_view
from damagescore.ui.session import show_flashes, told

CAUTION = (
    "A forecast carries the past on: other loads, heat, fluids or a blow make it void. The "
    "approved maintenance data govern, their inspection intervals included."
)

RULES: Mapping[str, str] = {
    "chance": "Chance of passing the limit",
    "share": "Share of what is left",
}


def history_page() -> None:
    """Draw the page."""
    st.title("History")
    show_flashes()
    with told():
        keys, too_many = history_data.record_keys()
        if not keys[1]:
            _empty()
            return
        with st.container(horizontal=True, vertical_alignment="bottom"):
            view = _view()
            axis = _axis()
        lives, left_out = history_data.lives(keys, axis)
        if too_many:
            st.caption(f"The {too_many} oldest records are not read.")
        if not lives:
            _nothing_usable(left_out)
            return
        rule = _rule()
        st.caption(CAUTION)
        if view == "One part":
            part_view(_chosen(lives), rule=rule)
        else:
            fleet_view(history_data.fleet(keys, axis, rule), axis=axis)
        _left_out(left_out)


def _empty() -> None:
    st.info(
        "A history begins with the second inspection. Inspect the same part again, with its "
        "serial number and its hours or cycles entered: from then on this page shows how its "
        "damage grows, and from the fourth on how long it is to the limit."
    )
    if st.button("Start an inspection", type="primary", key="history-start"):
        st.switch_page(st.session_state["pages"]["Inspect"])
    demo_box()


def _nothing_usable(left_out: tuple[LeftOut, ...]) -> None:
    st.info(
        "No record can be placed in time yet: each needs a serial number and hours or cycles. "
        "Enter them in the first step of an inspection."
    )
    _left_out(left_out)
    demo_box()


def _view() -> str:
    views = ["Fleet", "One part"]
    asked = "One part" if st.query_params.get("part") else "Fleet"
    chosen = st.segmented_control(
        "Show", views, default=asked, required=True, key="history-view"
    )
    return chosen or asked


def _axis() -> Axis:
    chosen = st.segmented_control(
        "Against", ["Hours", "Cycles"], default="Hours", required=True, key="history-axis"
    )
    return "cycles" if chosen == "Cycles" else "hours"


def _rule() -> ReinspectionRule:
    """The rule for inspecting again, as the user sets it."""
    kind, value = st.columns([3, 2], vertical_alignment="bottom")
    chosen = kind.selectbox(
        "Inspect again by", list(RULES), format_func=lambda k: RULES[k], key="history-rule"
    )
    if chosen == "share":
        share = value.number_input(
            "At most, % of what is left", 1, 100, 50, step=5, key="history-share"
        )
        return ReinspectionRule(kind="share", share=share / 100)
    chance = value.number_input(
        "At most, % chance", 0.1, 50.0, 5.0, step=0.5, key="history-chance"
    )
    return ReinspectionRule(kind="chance", chance=chance / 100)


def _chosen(lives: tuple[Life, ...]) -> Life:
    """The part that is looked at; the address names it."""
    names = [_name(x, lives) for x in lives]
    asked = st.query_params.get("part")
    if asked in names and "history-part" not in st.session_state:
        st.session_state["history-part"] = asked
    name = st.selectbox("Part", names, key="history-part")
    st.query_params["part"] = name
    return lives[names.index(name)]


def _name(life: Life, lives: tuple[Life, ...]) -> str:
    same = [x for x in lives if x.name == life.name]
    return life.name if len(same) == 1 else f"{life.name}, life {life.number} of {len(same)}"


def _left_out(left_out: tuple[LeftOut, ...]) -> None:
    if not left_out:
        return
    count = len(left_out)
    with st.expander(f"{count} record{'s' if count > 1 else ''} left out"):
        for item in left_out[:50]:
            st.markdown(f"- Record {item.record_id[:8]}: {item.reason}")
