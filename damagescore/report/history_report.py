"""The history of one part as a PDF and as JSON: growth, hours to the limit, same findings."""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from reportlab.platypus import Flowable, KeepTogether, Spacer

from damagescore import __version__
from damagescore.chart.growth import growth_chart, residual_chart
from damagescore.history.advice import ReinspectionRule, suggest
from damagescore.history.fit import MODEL_WORDS
from damagescore.history.lives import Life
from damagescore.history.predict import Forecast, Prediction
from damagescore.history.words import (
    factor_to,
    forecast_words,
    plain_words,
    prediction_words,
    suggestion_words,
    value_words,
)
from damagescore.quantity import Length, Measured
from damagescore.report.chart_figure import ChartFigure
from damagescore.report.followed import Followed, followed_part
from damagescore.report.look import BODY_WIDTH, grid, text
from damagescore.report.pages import PageFacts, build_pdf
from damagescore.report.words import EXPANDED, INVENTED, when

SOFTWARE = f"damagescore {__version__}"
SCHEMA = "damagescore/history/1"

CAUTIONS = (
    "The approved maintenance data for the part govern.",
    "A suggestion here never lengthens an inspection interval that those data give.",
    "A forecast carries the past on. A change of loads, heat, fluids or a blow makes it void.",
    "A photo shows neither the depth of a crack nor hidden loss of bond, nor how they grow.",
    "A qualified inspector decides and signs.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartHistory:
    """Everything that the paper says of one life of a part."""

    life: Life
    predictions: tuple[Prediction, ...]
    rule: ReinspectionRule
    next_use: float | None = None
    followed: Followed | None = None


def history_pdf(history: PartHistory, *, unit: Length = "mm") -> bytes:
    """Give the PDF; the same history gives the same bytes."""
    life = history.life
    invented = any(p.series.invented for p in history.predictions)
    facts = PageFacts(
        record_id=life.name, subject=f"{life.name}, {len(life.inspections)} inspections",
        mark="NO RELEASE: for planning only", banner=INVENTED if invented else "",
        software=SOFTWARE, document="History of",
        content_sha256=hashlib.sha256(history_json(history).encode()).hexdigest(),
    )  # fmt: skip
    return build_pdf(list(_story(history, unit)), facts)


def history_json(history: PartHistory) -> str:
    """Text of history.json: every series, curve and forecast, in mm, k = 1."""
    life = history.life
    plain = {
        "schema": SCHEMA,
        "software": SOFTWARE,
        "cautions": list(CAUTIONS),
        "part_number": life.part_number,
        "serial_number": life.serial_number,
        "life": life.number,
        "axis": life.axis,
        "inspections": [i.id for i in life.inspections],
        "series": [_plain(p, history) for p in history.predictions],
    }
    return json.dumps(plain, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _plain(prediction: Prediction, history: PartHistory) -> dict[str, Any]:
    series, forecast = prediction.series, prediction.forecast
    suggestion = suggest(prediction, history.rule)
    told: dict[str, Any] = {"reason": getattr(forecast, "reason", "")}
    if isinstance(forecast, Forecast):
        told = {
            "at": forecast.at, "earliest": forecast.earliest, "latest": forecast.latest,
            "last_seen": forecast.now, "horizon": forecast.horizon,
        }  # fmt: skip
        if history.next_use is not None:
            told["chance_by_next"] = prediction.chance_by(history.next_use)
    return {
        "id": series.id, "label": series.label, "unit": series.unit, "limit": series.limit,
        "direction": series.direction, "invented": series.invented,
        "points": [{"use": p.use, "record": p.record_id, **p.value.to_dict(with_budget=False)}
                   for p in series.points],
        "curves": [
            {"model": f.model, "aicc": f.aicc if np.isfinite(f.aicc) else None,
             "scatter": f.scatter, "power": f.curve.power, "used": f is prediction.fit}
            for f in prediction.fits
        ],
        "forecast": told,
        "suggested_within": suggestion.ahead, "suggestion_reason": suggestion.reason,
    }  # fmt: skip


def _story(history: PartHistory, unit: Length) -> Iterator[Flowable]:
    life = history.life
    yield text(f"History of {life.name}", "title", most=200)
    yield text(f"Life {life.number}, {life.axis} {life.last_use:.0f} at the last inspection",
               "subtitle")  # fmt: skip
    yield Spacer(1, 6)
    yield _summary(history, unit)
    yield text(EXPANDED, "note")
    yield text("Cautions", "heading")
    for number, caution in enumerate(CAUTIONS, start=1):
        yield text(f"{number}. {caution}")
    for prediction in history.predictions:
        if prediction.series.shows_anything:
            yield from _series(prediction, history, unit)
    if history.followed is not None:
        yield from followed_part(history.followed, unit=unit)


def _summary(history: PartHistory, unit: Length) -> Flowable:
    rows = []
    for prediction in history.predictions:
        series = prediction.series
        last = series.measured[-1][1] if series.measured else None
        suggestion = suggest(prediction, history.rule)
        rows.append(
            (
                series.label,
                "not measured" if last is None else value_words(last, unit=unit),
                "none" if series.limit is None
                else plain_words(series.limit, series.unit, shown=unit),
                forecast_words(prediction) if series.limit is not None else "",
                "" if suggestion.ahead is None
                else suggestion_words(suggestion, series.use_unit).partition(".")[0],
            )
        )  # fmt: skip
    head = ("Quantity", "Last value", "Limit", "Hours to the limit", "Inspect again")
    return grid(head, rows, widths=(34, 22, 15, 26, 22))


def _series(prediction: Prediction, history: PartHistory, unit: Length) -> Iterator[Flowable]:
    series = prediction.series
    chart = growth_chart(prediction, unit=unit, next_use=history.next_use)
    yield KeepTogether(
        [
            text(series.label, "heading"),
            *([text(series.text, "note")] if series.text else []),
            ChartFigure(chart, width=0.78 * BODY_WIDTH),
        ]
    )
    if series.limit is not None:
        yield text(prediction_words(prediction))
        chance = None if history.next_use is None else prediction.chance_by(history.next_use)
        if chance is not None:
            yield text(
                f"Chance that the limit is passed before the next inspection at "
                f"{history.next_use:.0f} {series.use_unit}: {_percent(chance)}."
            )
        again = suggestion_words(suggest(prediction, history.rule), series.use_unit)
        yield text(f"Inspect again: {again}")
    for note in prediction.notes:
        yield text(note, "note")
    residuals = residual_chart(prediction, unit=unit)
    if residuals is not None:
        yield ChartFigure(residuals, width=0.78 * BODY_WIDTH)
        yield _curves(prediction, unit)
    yield _values(prediction, unit)


def _percent(chance: float) -> str:
    if chance < 0.001:
        return "below 0.1 %"
    return f"{100 * chance:.1f} %" if chance < 0.1 else f"{100 * chance:.0f} %"


def _curves(prediction: Prediction, unit: Length) -> Flowable:
    factor, sign = factor_to(prediction.series.unit, unit)
    rows = [
        (
            MODEL_WORDS[f.model] + (" (used)" if f is prediction.fit else ""),
            f"{f.aicc:.1f}" if np.isfinite(f.aicc) else "too few points",
            f"{factor * f.scatter:.2g} {sign}",
            "yes" if f in prediction.supported else "no",
        )
        for f in prediction.fits
    ]
    head = ("Curve", "AICc", "Scatter beyond u", "Within the interval")
    return grid(head, rows, widths=(40, 16, 22, 22))


def _values(prediction: Prediction, unit: Length) -> Flowable:
    series = prediction.series
    rows = []
    for point in series.points:
        value = point.value
        shown = (
            value_words(value, unit=unit)
            if isinstance(value, Measured)
            else f"not measured: {value.reason}"
        )
        state = "" if point.reviewed else "not reviewed"
        rows.append((f"{point.use:.0f}", when(point.at) if point.at else "", shown, state))
    return grid(
        (series.axis.capitalize(), "Inspected", "Value", ""), rows, widths=(12, 32, 46, 18)
    )
