"""Page: the check target of camera, scale and program."""

import tempfile
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import streamlit as st

from damagescore.capability.sheet import write_target
from damagescore.capability.standing import Standing, control_chart, standing
from damagescore.capability.target import TargetCheck, Tolerances, check_target
from damagescore.chart import to_svg
from damagescore.photo import read_photo
from damagescore.quantity import format_quantity, quantity_from_dict
from damagescore.records.documents import Document
from damagescore.ui.documents import documents, new_id
from damagescore.ui.drawing import show_svg
from damagescore.ui.drift_chart import drift_chart
from damagescore.ui.session import flash, inspector, show_flashes, store, told
from damagescore.ui.words import as_written, when

DAYS = 30.0
"""How long a check holds before the organisation says otherwise."""

STATE_ICONS = {
    "valid": ":material/check_circle:",
    "overdue": ":material/schedule:",
    "failed": ":material/error:",
    "none": ":material/help:",
}


def check_target_page() -> None:
    """Offer the target, measure photos of it, show how the readings went over time."""
    st.title("Check target")
    st.write(
        "A printed sheet of lines, gaps, areas and steps of known size. A photo of it, taken "
        "as parts are photographed, shows whether camera, scale and program still measure "
        "right."
    )
    show_flashes()
    with told():
        st.download_button(
            "Check target to print, PDF", _sheet(), file_name="check_target.pdf",
            mime="application/pdf", key="target-pdf", icon=":material/download:",
            on_click="ignore",
        )  # fmt: skip
        checks = documents().versions("target_check")
        _standings(checks)
        _form()
        if checks:
            _history(checks)


@st.cache_data(show_spinner=False)
def _sheet() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        return write_target(Path(folder)).read_bytes()


def valid_days() -> float:
    """How long a passed check holds, as this organisation set it."""
    rules = documents().newest("target_rule")
    return float(rules[0].body["valid_days"]) if rules else DAYS


def standing_of(checks: Sequence[Document], camera: str) -> Standing:
    """Whether the checks of one camera hold now."""
    own = [
        (datetime.fromisoformat(c.at), bool(c.body["passed"]))
        for c in checks
        if c.body["camera"] == camera
    ]
    return standing(own, now=datetime.now(UTC), valid_days=valid_days())


def _standings(checks: Sequence[Document]) -> None:
    st.subheader("Where each camera stands")
    if not checks:
        st.info(
            "No photo of the target was measured yet. Print it, measure its 100 mm line with a "
            "calliper, photograph it, and add the photo below."
        )
    for camera in sorted({c.body["camera"] for c in checks}):
        found = standing_of(checks, camera)
        with st.container(border=True):
            st.markdown(f"{STATE_ICONS[found.state]} **{as_written(camera)}**  \n{found.words}")
    _days()


def _days() -> None:
    now = valid_days()
    given = st.number_input(
        "A passed check holds for, days", min_value=1.0, max_value=3650.0, value=now, step=1.0,
        format="%.0f", key="target-days", width=240,
    )  # fmt: skip
    if given != now:
        rules = documents().newest("target_rule")
        version = rules[0].version + 1 if rules else 1
        body = {"valid_days": given, "by": inspector()}
        documents().add("target_rule", "rule", body, version=version)
        st.rerun()


def _form() -> None:
    st.subheader("Measure a photo of the target")
    if not inspector():
        st.info("Write your name into the field in the sidebar first.")
        return
    with st.form("target-form"):
        photo = st.file_uploader(
            "Photo of the target", type=["jpg", "jpeg", "png", "tif", "tiff", "webp", "heic"],
            key="target-photo",
        )  # fmt: skip
        line = st.number_input(
            "The printed 100 mm line by calliper, mm", min_value=90.0, max_value=110.0,
            value=100.0, step=0.01, format="%.2f", key="target-line",
        )  # fmt: skip
        with st.expander("How far readings may be off"):
            tolerances = _tolerances()
        sent = st.form_submit_button("Measure", type="primary", key="target-measure")
    if sent and photo is None:
        st.error("No photo was chosen. Choose one, then measure.")
    elif sent and photo is not None:
        with st.spinner("Measuring"):
            _measure(photo.name, photo.getvalue(), line, tolerances)
        st.rerun()


def _tolerances() -> Tolerances:
    given = Tolerances()
    fields = (
        ("distance_percent", "Distance of the squares, %", 0.05),
        ("length_mm", "Lengths of lines, mm", 0.01),
        ("width_mm", "Widths of lines, mm", 0.01),
        ("gap_mm", "Gaps, mm", 0.01),
        ("area_percent", "Areas, %", 0.1),
        ("step_mm", "Steps, mm", 0.01),
    )
    chosen = {
        name: st.number_input(
            label, min_value=step, value=getattr(given, name), step=step,
            key=f"target-{name}",
        )
        for name, label, step in fields
    }  # fmt: skip
    return Tolerances(**chosen)


def _measure(name: str, data: bytes, line_mm: float, tolerances: Tolerances) -> None:
    check = check_target(read_photo(data, name=name), line_mm=line_mm, tolerances=tolerances)
    body = {
        **check.to_dict(), "by": inspector(), "photo_name": name,
        "photo_sha256": store().put_photo(data),
    }  # fmt: skip
    documents().add("target_check", new_id("check"), body)
    flash(_outcome(check), bad=not check.passed)


def _outcome(check: TargetCheck) -> str:
    failed = [r.name for r in check.readings if not r.passed]
    if not failed:
        return f"Passed: all {len(check.readings)} readings are within their tolerances."
    return (
        f"Failed: {len(failed)} of {len(check.readings)} readings are off or could not be "
        f"taken, {failed[0]} first. Look at focus, light and flatness; if it fails again, do "
        "not rely on this camera."
    )


def _history(checks: Sequence[Document]) -> None:
    st.subheader("Checks")
    cameras = sorted({c.body["camera"] for c in checks})
    camera = cameras[0]
    if len(cameras) > 1:
        camera = st.selectbox("Camera", cameras, key="target-camera")
    own = [c for c in checks if c.body["camera"] == camera]
    _chart(own)
    for document in list(reversed(own))[:50]:
        body = document.body
        sign = "✓ passed" if body["passed"] else "✕ failed"
        with st.expander(f"{when(document.at)} · {sign} · {as_written(body['by'])}"):
            st.caption(
                f"{as_written(body['photo_name'])}, {1 / body['mm_per_px']:.1f} px/mm, "
                f"100 mm line {body['line_mm']:.2f} mm"
            )
            st.dataframe(
                [_row(r) for r in body["readings"]],
                hide_index=True,
                width="stretch",
                height="content",
            )


def _chart(own: Sequence[Document]) -> None:
    """Error of the distance of the squares, per cent: what scales all lengths."""
    values, labels = [], []
    for document in own:
        reading = document.body["readings"][0]
        value = reading["measured"]["value"]
        if value is not None:
            values.append(100 * (value / reading["true"] - 1))
            labels.append(f"{when(document.at)}: {values[-1]:+.3f} %")
    if values:
        first = own[-1].body["tolerances"]["distance_percent"]
        chart = drift_chart(
            control_chart(values), labels, tolerance=first, unit="%",
            what="Error of the distance of the squares",
        )  # fmt: skip
        show_svg("target-chart", to_svg(chart))


def _row(reading: Mapping[str, Any]) -> dict[str, str]:
    measured = quantity_from_dict(reading["measured"])
    sign = measured.unit if measured.unit != "mm2" else "mm²"
    return {
        "": "✓" if reading["passed"] else "✕",
        "Feature": reading["name"],
        "True": f"{reading['true']:.3f} {sign}",
        "Measured": format_quantity(measured),
        "May be off by": f"{reading['tolerance']:.3f} {sign}",
    }
