"""Which part needs an inspector first; a click opens its inspection."""

from collections.abc import Sequence

import streamlit as st

from damagescore.orders.papers import result_words, score_words
from damagescore.orders.record import Order
from damagescore.orders.results import PartResult
from damagescore.quantity import count_words
from damagescore.report.around_map import around_svg, seen_words
from damagescore.ui.session import desk, open_inspection
from damagescore.ui.words import invented_badge, outcome_badge

PAGE = 25


def summary(order: Order, results: Sequence[PartResult]) -> None:
    """Draw one row for each part, who needs an inspector first on top."""
    st.subheader("Who needs an inspector first")
    if any(_invented(r) for r in results):
        invented_badge()
    shown = st.session_state.get(f"parts-shown-{order.id}", PAGE)
    for number, result in enumerate(results[:shown], start=1):
        with st.container(border=True):
            _row(order, result, number)
    if len(results) > shown and st.button("Show more", key="parts-more"):
        st.session_state[f"parts-shown-{order.id}"] = shown + PAGE
        st.rerun()


def _invented(result: PartResult) -> bool:
    limits = result.inspection.limit_set if result.inspection else None
    return bool(limits and limits["invented"])


def _row(order: Order, result: PartResult, number: int) -> None:
    facts, action = st.columns([4, 1], vertical_alignment="center")
    with facts:
        st.markdown(f"**{number}. {result.part.key}**")
        with st.container(horizontal=True, vertical_alignment="center"):
            if _measuring(result):
                st.badge("Being measured", icon=":material/hourglass_top:", color="blue")
            elif not order.photos_of(result.part):
                st.badge("No photo yet", color="gray")
            elif result.outcome in ("no_photo", "not_assessed"):
                st.badge(result_words(result.outcome).capitalize(), color="gray")
            else:
                outcome_badge(result.outcome)
            if score_words(result):
                st.badge(f"Score {score_words(result)}", color="gray")
            if result.seen:
                st.badge(f"Round edge seen: {result.seen}", color="blue")
        st.caption(_facts(order, result))
        for name, why in result.to_retake:
            st.caption(f":material/photo_camera: Take again: {name}. {why}")
    if result.inspection is None:
        return
    if action.button("Inspect", key=f"inspect-{result.inspection.id}", width="stretch"):
        open_inspection(result.inspection.id)
        st.session_state["go_to_step"] = "findings" if result.n_to_review else "limits"
        st.switch_page(
            st.session_state["pages"]["Inspect"],
            query_params={"inspection": result.inspection.id},
        )
    _map(result)


def _facts(order: Order, result: PartResult) -> str:
    said = [count_words(len(order.photos_of(result.part)), "photo")]
    if result.worst and result.score:
        said.append(result.worst.rstrip("."))
    if result.n_not_judged and not _measuring(result):
        criteria = count_words(result.n_not_judged, "criterion", many="criteria")
        said.append(f"{criteria} not fully judged")
    if result.n_to_review:
        said.append(f"{count_words(result.n_to_review, 'finding')} to review")
    return " · ".join(said)


def _measuring(result: PartResult) -> bool:
    inspection = result.inspection
    waiting = desk().progress(inspection.id) if inspection is not None else []
    return any(not p.photo.fault for p in waiting)


def _map(result: PartResult) -> None:
    around = result.around
    if around is None:
        return
    with st.expander("Map of the round edge", icon=":material/explore:"):
        picture, words = st.columns([2, 3], vertical_alignment="center")
        picture.image(around_svg(around), width=350, alt=seen_words(around))
        words.write(seen_words(around))
        words.caption(
            "Looking down from the side that is up in the photos; one ring for each rubber "
            "layer, the lowest innermost. Tinted: seen. Numbers: photos."
        )
        for damage in around.damages:
            words.caption(damage.name)
