"""The same findings in the photos of a part: laid on one another, paired, followed."""

import streamlit as st

from damagescore.history.lives import Life, use_of
from damagescore.history.pairing import SIGNIFICANCE_TEXT, sorted_pairs
from damagescore.history.register import NotRegistered
from damagescore.history.words import prediction_words
from damagescore.report.followed import PAIR_HEAD, pair_cells, track_cells
from damagescore.ui import history_data
from damagescore.ui.session import unit
from damagescore.ui.two_photos import mount_two


def photos_view(life: Life) -> None:
    """Choose two inspections, look at their photos in turn, list what became of findings."""
    names = [_name(life, i) for i in range(len(life.inspections))]
    stem = f"{life.name}-{life.number}"
    first, second = st.columns(2)
    one = first.selectbox("Earlier", names[:-1], index=len(names) - 2, key=f"earlier-{stem}")
    start = names.index(one)
    two = second.selectbox(
        "Later", names[start + 1 :], index=len(names) - start - 2, key=f"later-{stem}-{start}"
    )
    if st.toggle("Lay their photos on one another", key=f"lay-{stem}"):
        _laid(life, start, names.index(two), names)
    if st.toggle("Follow each finding through all inspections", key=f"follow-{stem}"):
        _followed(life)


def _name(life: Life, number: int) -> str:
    inspection = life.inspections[number]
    use = use_of(inspection.part, life.axis)
    return f"{number + 1}: {use:.0f} {life.axis}, {inspection.created_at[:10]}"


def _laid(life: Life, first: int, second: int, names: list[str]) -> None:
    lines = st.toggle("Draw the findings", value=True, key=f"lines-{life.name}-{life.number}")
    found = history_data.laid(life, first, second, lines=lines)
    if found is None:
        st.info("One of the two inspections has no usable face photo.")
        return
    registration = found.step.registration
    if isinstance(registration, NotRegistered) or found.views is None:
        reason = registration.reason if isinstance(registration, NotRegistered) else ""
        st.warning(f"The photos cannot be laid on one another. {reason}")
        return
    mount_two(
        f"two-{life.name}-{life.number}", found.views, first=names[first], second=names[second]
    )
    st.caption(
        f"{registration.n_matches} features between the layers agree within "
        f"{2 * registration.u_mm:.2f} mm; layers and shims are the datum. {SIGNIFICANCE_TEXT}"
    )
    rows = [
        dict(zip(PAIR_HEAD, pair_cells(p, unit=unit()), strict=True))
        for p in sorted_pairs(found.step.pairs)
    ]
    if rows:
        st.dataframe(rows, hide_index=True, width="stretch")
    else:
        st.caption("Neither photo has findings.")


def _followed(life: Life) -> None:
    found = history_data.followed(life)
    if found is None:
        st.info("Fewer than two inspections have a usable face photo.")
        return
    for words in found.refused:
        st.warning(f"Not laid on one another, {life.axis} {words}")
    if not found.tracks:
        st.caption("No photo has findings.")
        return
    head = ("Finding", *(f"{u:.0f}" for u in found.uses))
    rows = track_cells(found, unit=unit(), most=len(found.uses))
    st.dataframe(
        [dict(zip(_unique(head), row, strict=True)) for row in rows],
        hide_index=True, width="stretch",
    )  # fmt: skip
    for prediction in found.predictions:
        if prediction.series.limit is not None and len(prediction.series.measured) > 1:
            st.markdown(f"- **{prediction.series.label}**: {prediction_words(prediction)}")


def _unique(head: tuple[str, ...]) -> list[str]:
    """Two inspections at the same hours keep a column each."""
    seen: dict[str, int] = {}
    names = []
    for name in head:
        seen[name] = seen.get(name, 0) + 1
        names.append(name if seen[name] == 1 else f"{name} ({seen[name]})")
    return names
