"""Step 3: the findings on each photo, in the photo workspace."""

from collections.abc import Mapping
from typing import Any

import streamlit as st

from damagescore.inspection import state_of
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.measure import with_findings
from damagescore.quantity import Measured, NotMeasured, Quantity
from damagescore.scale.record import Scale
from damagescore.ui.budget import budget_html
from damagescore.ui.edge_map import mount_map, plan_of
from damagescore.ui.inspect.photo_words import limits_words, scale_words, worst_outcome
from damagescore.ui.known import Known, measurement_from
from damagescore.ui.photo_edits import apply_op
from damagescore.ui.session import load, news_of, settle, show_edits, told, unit
from damagescore.ui.words import OUTCOME_SIGNS, check_words, quantity_words, value_words
from damagescore.ui.workspace import feed_of, key_of, mount, take_ops


def findings_step(inspection: Inspection, *, locked: bool) -> None:
    """Choose a photo and review what was found on it."""
    st.subheader("Findings")
    if not inspection.photos:
        st.info(
            "There is no photo yet. Once one is measured, each crack, bond gap, crumbled area "
            "or bulge that was found is shown on it, to confirm, correct or reject."
        )
        return
    entry = _choose(inspection)
    _workspace(inspection.id, entry.sha256, locked=locked)


def _choose(inspection: Inspection) -> PhotoEntry:
    by_key = {entry.sha256: entry for entry in inspection.photos}
    chosen = st.session_state.get("photo")
    if chosen not in by_key:
        st.session_state["photo"] = _in_place_of(inspection, chosen) or next(iter(by_key))
    if len(by_key) > 1:
        order = {sha256: number for number, sha256 in enumerate(by_key, start=1)}
        st.selectbox(
            "Photo",
            list(by_key),
            format_func=lambda k: f"{order[k]}. {by_key[k].name} · {review_words(by_key[k])}",
            key="photo",
        )
    return by_key[st.session_state["photo"]]


def _in_place_of(inspection: Inspection, sha256: str | None) -> str | None:
    """The photo that was last put in the place of another, or was brought back there."""
    now = {entry.sha256 for entry in inspection.photos}
    swaps = (e.after for e in reversed(inspection.edits) if isinstance(e.after, Mapping))
    found = (s["photo"] for s in swaps if sha256 and s.get("instead_of") == sha256)
    return next((photo for photo in found if photo in now), None)


def review_words(entry: PhotoEntry) -> str:
    """How far the review of a photo has come, in a few words."""
    if not entry.measurement["quality"]["usable"]:
        return "refused"
    findings = entry.measurement["findings"]
    if not findings:
        return "part not judged" if entry.measurement.get("unjudged") else "no findings"
    # No count: while findings are reviewed, only the workspace is drawn again.
    return "all reviewed" if all(reviewed(entry, f["id"]) for f in findings) else "to review"


def reviewed(entry: PhotoEntry, finding_id: str) -> bool:
    """True when somebody confirmed or rejected the finding."""
    return state_of(entry, finding_id) != "proposed"


@st.fragment
def _workspace(inspection_id: str, sha256: str, *, locked: bool) -> None:
    key = key_of(inspection_id, sha256)
    if not locked and take_ops(key, lambda op: apply_op(inspection_id, sha256, op=op)):
        _tell_the_page(inspection_id)
    with told():
        inspection = load(inspection_id)
        entry = next((x for x in inspection.photos if x.sha256 == sha256), None)
        if entry is None:
            st.info("This photo was removed.")
            return
        _banner(entry)
        news = news_of(inspection, sha256)
        show_edits(inspection)
        mount(key, feed_of(inspection, entry, unit=unit(), locked=locked) | {"news": news})
        _below(entry)
    settle()


def _tell_the_page(inspection_id: str) -> None:
    """Draw the whole page when a photo's last finding was reviewed, or it is judged anew.

    Otherwise only the workspace is drawn again, which is three times as quick.
    """
    inspection = load(inspection_id)
    seen = tuple((p.sha256, review_words(p)) for p in inspection.photos)
    if st.session_state.get("seen") != seen:
        st.session_state["seen"] = seen
        st.rerun()


def _banner(entry: PhotoEntry) -> None:
    quality = entry.measurement["quality"]
    refused = [
        check_words(c, unit=unit()) for c in quality["checks"] if c["outcome"] == "refuse"
    ]
    if worst_outcome(quality) != "refuse":
        return
    st.error("  \n".join(refused) or "The photo was refused.", icon=":material/block:")
    if not entry.measurement.get("scale"):
        st.caption(
            "Without a mark: choose *Two-point scale*, click two points on the edge whose "
            "distance you know, and give the distance."
        )


def _below(entry: PhotoEntry) -> None:
    plan = plan_of(entry, unit=unit())
    if plan is not None:
        st.markdown("**Edge map**")
        st.caption(_map_words(entry))
        mount_map(f"map-{entry.sha256[:16]}", plan)
    left, quality = st.columns(2, gap="large")
    with left:
        st.markdown("**Totals of this photo**")
        if not entry.measurement["quality"]["usable"]:
            st.markdown("Not measured: the photo was refused.")
        else:
            _totals(entry)
    with quality:
        st.markdown("**Photo quality**")
        if entry.measurement.get("scale"):
            st.caption(scale_words(entry.measurement["scale"], unit=unit()))
        if limits_words(entry.options):
            st.caption(limits_words(entry.options))
        checks = entry.measurement["quality"]["checks"]
        st.markdown(
            "\n".join(
                f"- {OUTCOME_SIGNS[c['outcome']]} {check_words(c, unit=unit())}" for c in checks
            )
        )


def _map_words(entry: PhotoEntry) -> str:
    if entry.view == "profile":
        return "How far each layer stands out or in. Click a bar to select it above."
    unrolled = "unrolled, " if entry.options.get("scale", {}).get("edge_radius_mm") else ""
    return (
        f"The layers {unrolled}from the left end that is seen, lengths in {unit()}; heights "
        "are not to scale. Click a finding to select it above."
    )


def _totals(entry: PhotoEntry) -> None:
    st.caption("Rejected findings are left out. Value ± uncertainty, k = 1.96.")
    totals = kept_totals(entry)
    st.markdown(
        "\n".join(f"- {quantity_words(k)}: {_total_words(q)}" for k, q in totals.items())
    )
    scale = entry.measurement["scale"]
    parts = Scale.from_dict(scale).budget if scale else ()
    charts = {
        name: chart
        for name, q in totals.items()
        if isinstance(q, Measured) and (chart := budget_html(q, parts, unit=unit()))
    }
    if charts:
        with st.expander("Where the uncertainty of the totals comes from"):
            st.caption("Standard uncertainties, the largest first.")
            for name, chart in charts.items():
                st.markdown(f"**{quantity_words(name)}**")
                st.html(chart)


def kept_totals(entry: PhotoEntry) -> Mapping[str, Quantity]:
    """Totals of a photo over the findings that nobody rejected."""
    found = entry.measurement["findings"]
    rejected = frozenset(f["id"] for f in found if state_of(entry, f["id"]) == "rejected")
    return _known_totals.of(entry.measurement, rejected)


def _totals_without(
    plain: Mapping[str, Any], rejected: frozenset[str]
) -> Mapping[str, Quantity]:
    measurement = measurement_from(plain)
    if not rejected:
        return measurement.totals
    kept = [f for f in measurement.findings if f.id not in rejected]
    return with_findings(measurement, kept).totals


_known_totals: Known[Mapping[str, Quantity]] = Known(_totals_without, most=16)


def _total_words(total: Quantity) -> str:
    if isinstance(total, NotMeasured):
        return f"not measured. {total.reason}"
    return f"**{value_words(total, unit=unit())}**"
