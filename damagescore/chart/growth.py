"""Charts of one quantity over hours: values, curve, limit, residuals."""

from collections.abc import Sequence

import numpy as np

from damagescore.chart.axes import reach
from damagescore.chart.plot import WIDTH, Plot
from damagescore.chart.record import Chart, Style
from damagescore.history.predict import Forecast, Prediction, band
from damagescore.history.record import Series
from damagescore.history.words import factor_to, told_of, with_sign
from damagescore.quantity import COVERAGE_FACTOR_95, Length

CURVE = Style(colour="blue", width=1.8)
BAND = Style(colour="blue", opacity=0.14)
LIMIT = Style(colour="red", width=1.5)
ZONE = Style(colour="amber", opacity=0.20)
POINT = Style(colour="ink", width=1.2)

STEPS = 120


def growth_chart(
    prediction: Prediction, *, unit: Length = "mm", next_use: float | None = None
) -> Chart:
    """Values with 95 % intervals, the curve and its prediction band, the limit.

    Hollow points rest on findings that nobody reviewed.

    Parameters
    ----------
    prediction : Prediction
    unit : "mm" or "in"
    next_use : float, optional
        Hours of the next inspection, drawn as an upright line.
    """
    series, forecast = prediction.series, prediction.forecast
    factor, sign = factor_to(series.unit, unit)
    uses = [p.use for p in series.points]
    end = forecast.horizon if isinstance(forecast, Forecast) else max(uses, default=1.0)
    last = max(end, next_use or 0.0)
    tops = [factor * (m.value + COVERAGE_FACTOR_95 * m.u) for _, m in series.measured]
    lows = [factor * (m.value - COVERAGE_FACTOR_95 * m.u) for _, m in series.measured]
    limit = None if series.limit is None else factor * series.limit
    ends = [*tops, *lows, *([] if limit is None else [1.1 * limit])]
    # A part that was seen at one moment only: its hours begin at zero.
    first = min(uses, default=0.0) if last > min(uses, default=0.0) else 0.0
    plot = Plot(
        x=(first - 0.02 * (last - first or 1), last + 0.02 * (last - first or 1)),
        y=reach(ends, from_zero=series.direction == "max"),
        x_label=series.axis.capitalize(), y_label=with_sign(series.label, sign),
    )  # fmt: skip
    if limit is not None:
        _zone(plot, series, factor)
    plot.axes()
    if prediction.fit is not None:
        _curve(plot, prediction, factor, first=prediction.fit.uses[0], last=end)
    if limit is not None:
        plot.level(limit, LIMIT, words="limit")
    if next_use is not None:
        plot.upright(next_use, Style(opacity=0.6, dash=(4, 3)), words="next inspection")
    for point, value in _with_values(series):
        plot.dot(
            point, factor * value[0], half=factor * COVERAGE_FACTOR_95 * value[1], style=POINT,
            hollow=not value[2],
        )  # fmt: skip
    return plot.chart(title=series.label, told=told_of(prediction, unit=unit))


def residual_chart(prediction: Prediction, *, unit: Length = "mm") -> Chart | None:
    """Value less curve at each fitted point, with 95 % intervals; None without a curve."""
    fit = prediction.fit
    if fit is None:
        return None
    factor, sign = factor_to(prediction.series.unit, unit)
    left = [factor * r for r in fit.residuals]
    half = [factor * COVERAGE_FACTOR_95 * u for u in fit.u]
    reached = max(abs(r) + h for r, h in zip(left, half, strict=True)) or 1.0
    room = 0.02 * (fit.span or 1)
    plot = Plot(
        x=(fit.uses[0] - room, fit.uses[-1] + room), y=(-1.1 * reached, 1.1 * reached),
        x_label=prediction.series.axis.capitalize(),
        y_label=with_sign("Value less curve", sign), size=(WIDTH, 170.0),
    )  # fmt: skip
    plot.axes()
    plot.level(0.0, Style(colour="blue", width=1.4))
    for use, value, spread in zip(fit.uses, left, half, strict=True):
        plot.dot(use, value, half=spread, style=POINT)
    held = sum(abs(r) <= h for r, h in zip(left, half, strict=True))
    return plot.chart(
        title="Residuals",
        told=f"Value less curve at {len(left)} inspections; {held} of them are within their "
        f"95 % interval of the curve, the largest difference is "
        f"{max(map(abs, left)):.2g} {sign}.",
    )


def _with_values(series: Series) -> list[tuple[float, tuple[float, float, bool]]]:
    known = {id(m): m for _, m in series.measured}
    return [
        (p.use, (m.value, m.u, p.reviewed))
        for p in series.points
        if (m := known.get(id(p.value))) is not None
    ]


def _zone(plot: Plot, series: Series, factor: float) -> None:
    """Where a value as uncertain as the last one is borderline."""
    assert series.limit is not None
    if not series.measured or series.guard_factor == 0:
        return
    half = factor * series.guard_factor * series.measured[-1][1].u
    at = factor * series.limit
    plot.band(plot.x, (at - half, at - half), (at + half, at + half), ZONE)


def _curve(
    plot: Plot, prediction: Prediction, factor: float, *, first: float, last: float
) -> None:
    fit = prediction.fit
    assert fit is not None
    uses = np.linspace(first, last, STEPS)
    bands = [band(f, uses.tolist()) for f in prediction.supported]
    low = factor * np.min([b[0] for b in bands], axis=0)
    high = factor * np.max([b[1] for b in bands], axis=0)
    plot.band(uses.tolist(), low.tolist(), high.tolist(), BAND)
    seen = uses <= fit.uses[-1]
    middle = factor * fit.curve.at(uses)
    plot.line(uses[seen].tolist(), middle[seen].tolist(), CURVE)
    dashed = Style(colour="blue", width=1.8, dash=(5, 4))
    ahead: Sequence[float] = uses[~seen].tolist()
    plot.line(ahead, middle[~seen].tolist(), dashed)
