"""One part over time: each quantity with its curve, limit and forecast."""

import math

import streamlit as st

from damagescore.chart import to_svg
from damagescore.chart.growth import growth_chart, residual_chart
from damagescore.history.advice import ReinspectionRule, suggest
from damagescore.history.fit import MODEL_WORDS
from damagescore.history.lives import Life
from damagescore.history.predict import Prediction, predict
from damagescore.history.series import limit_set_of, series_of
from damagescore.history.words import (
    factor_to,
    forecast_words,
    plain_words,
    prediction_words,
    suggestion_words,
    value_words,
)
from damagescore.quantity import Measured
from damagescore.report.history_report import PartHistory, history_json, history_pdf
from damagescore.ui import history_data
from damagescore.ui.drawing import show_svg
from damagescore.ui.history_photos import photos_view
from damagescore.ui.offer import offer
from damagescore.ui.session import unit
from damagescore.ui.words import invented_badge, when


def part_view(life: Life, *, rule: ReinspectionRule) -> None:
    """Draw everything about one life of one part."""
    limits = limit_set_of(life)
    predictions = [predict(s) for s in series_of(life, limits)]
    next_use = _next_inspection(life)
    _facts(life, predictions)
    shown = [p for p in predictions if p.series.shows_anything]
    if not shown:
        st.info("No damage was found so far: there is nothing that grows.")
    for prediction in sorted(shown, key=_nearness, reverse=True):
        with st.container(border=True):
            _series(prediction, rule=rule, next_use=next_use)
    rest = [p.series.label.lower() for p in predictions if not p.series.shows_anything]
    if rest:
        st.caption(f"Looked for and not found, or not measured: {'; '.join(rest)}.")
    if len(life.inspections) > 1:
        st.subheader("The same findings again")
        photos_view(life)
    _papers(life, predictions, rule=rule, next_use=next_use)


def _next_inspection(life: Life) -> float | None:
    value = st.number_input(
        f"Next inspection at, {life.axis}", min_value=0.0, value=None, step=50.0,
        key=f"next-{life.name}-{life.number}", placeholder="not given",
        help="For the chance that a limit is passed before it.",
    )  # fmt: skip
    return None if value is None or value <= life.last_use else value


def _facts(life: Life, predictions: list[Prediction]) -> None:
    with st.container(horizontal=True, vertical_alignment="center"):
        st.markdown(
            f"**{life.name}** · {len(life.inspections)} inspection"
            f"{'s' if len(life.inspections) != 1 else ''} · {life.last_use:.0f} {life.axis}"
        )
        if any(p.series.invented for p in predictions):
            invented_badge()
    if life.number > 1:
        st.caption(
            f"Life {life.number}: the {life.axis} began anew, so earlier inspections do not "
            "enter the forecast."
        )
    if not any(p.series.limit is not None for p in predictions):
        st.caption("No inspection of it was compared with limits, so nothing is forecast.")


def _nearness(prediction: Prediction) -> float:
    series = prediction.series
    if not series.limit or not series.measured:
        return -1.0
    value = series.measured[-1][1].value
    if series.direction == "min":
        return series.limit / value if value > 0 else math.inf
    return value / series.limit


def _series(prediction: Prediction, *, rule: ReinspectionRule, next_use: float | None) -> None:
    series = prediction.series
    st.markdown(f"**{series.label}**")
    chart, words = st.columns([3, 2], gap="large")
    with chart:
        drawn = growth_chart(prediction, unit=unit(), next_use=next_use)
        show_svg(f"growth-{series.id}", to_svg(drawn))
    with words:
        last = series.measured[-1][1]
        st.markdown(f"Last value {value_words(last, unit=unit())}")
        if series.limit is not None:
            st.markdown(
                f"Limit {plain_words(series.limit, series.unit, shown=unit())}"
                + (f": {series.text}" if series.text else "")
            )
            st.markdown(f"**{forecast_words(prediction)}**")
            st.markdown(prediction_words(prediction).removeprefix(
                f"{forecast_words(prediction)}. "))  # fmt: skip
            _chance(prediction, next_use)
            again = suggestion_words(suggest(prediction, rule), series.use_unit)
            st.markdown(f"**Inspect again:** {again}")
        for note in prediction.notes:
            st.caption(note)
    with st.expander("Values, residuals and curves"):
        _details(prediction)


def _chance(prediction: Prediction, next_use: float | None) -> None:
    if next_use is None:
        return
    chance = prediction.chance_by(next_use)
    unit_words = prediction.series.use_unit
    if chance is None:
        st.markdown(f"Chance of passing it by {next_use:.0f} {unit_words}: not told.")
        return
    words = "below 0.1 %" if chance < 0.001 else f"{100 * chance:.2g} %"
    st.markdown(f"Chance of passing it by {next_use:.0f} {unit_words}: **{words}**")


def _details(prediction: Prediction) -> None:
    residuals = residual_chart(prediction, unit=unit())
    if residuals is not None:
        show_svg(f"residuals-{prediction.series.id}", to_svg(residuals))
        factor, sign = factor_to(prediction.series.unit, unit())
        st.dataframe(
            [
                {
                    "Curve": MODEL_WORDS[f.model] + (" (used)" if f is prediction.fit else ""),
                    "AICc": f"{f.aicc:.1f}" if math.isfinite(f.aicc) else "too few points",
                    "Scatter beyond u": f"{factor * f.scatter:.2g} {sign}",
                    "Within the interval": "yes" if f in prediction.supported else "no",
                }
                for f in prediction.fits
            ],
            hide_index=True, width="stretch",
        )  # fmt: skip
    st.dataframe(
        [
            {
                prediction.series.axis.capitalize(): round(p.use, 1),
                "Inspected": when(p.at),
                "Value": value_words(p.value, unit=unit()) if isinstance(p.value, Measured)
                else f"not measured: {p.value.reason}",
                "State": "reviewed" if p.reviewed else "not reviewed",
            }
            for p in prediction.series.points
        ],
        hide_index=True, width="stretch",
    )  # fmt: skip


def _papers(
    life: Life, predictions: list[Prediction], *, rule: ReinspectionRule, next_use: float | None
) -> None:
    st.subheader("Papers")
    asked = f"history-papers-{life.name}-{life.number}"
    if not st.button("Write the history", key=asked, icon=":material/description:"):
        return
    with st.spinner("Writing the history…"):
        history = PartHistory(
            life=life, predictions=tuple(predictions), rule=rule, next_use=next_use,
            followed=history_data.followed(life) if len(life.inspections) > 1 else None,
        )  # fmt: skip
        pdf = history_pdf(history, unit=unit())
        plain = history_json(history)
    with st.container(horizontal=True):
        offer(
            "PDF report", pdf, file_name="history.pdf", mime="application/pdf",
            key=f"{asked}-pdf", icon=":material/download:",
        )  # fmt: skip
        offer(
            "JSON", plain, file_name="history.json", mime="application/json",
            key=f"{asked}-json", icon=":material/download:",
        )  # fmt: skip
