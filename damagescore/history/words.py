"""A history told in sentences, the same in the app, the report and for who cannot see."""

from damagescore.history.advice import Suggestion
from damagescore.history.fit import MODEL_WORDS
from damagescore.history.predict import Forecast, NoForecast, Prediction
from damagescore.quantity import (
    MM_PER_INCH,
    UNIT_SIGNS,
    Length,
    Measured,
    Unit,
    format_quantity,
)

CANNOT = "Cannot be predicted"


def forecast_words(prediction: Prediction) -> str:
    """Hours left to the limit with their interval, or that they cannot be predicted."""
    forecast, unit = prediction.forecast, prediction.series.use_unit
    if isinstance(forecast, NoForecast):
        return CANNOT
    if forecast.latest is not None and forecast.latest <= forecast.now:
        return "Limit passed"
    if forecast.at is None:
        sure = "More" if forecast.earliest is None else "Probably more"
        return f"{sure} than {_round(forecast.horizon - forecast.now)} {unit} left"
    left = forecast.left or 0.0
    if left == 0:
        return "Limit reached by the curve"
    return f"{_round(left)} {unit} left"


def interval_words(forecast: Forecast, unit: str) -> str:
    """The 95 % interval of the hours left."""
    ahead = forecast.horizon - forecast.now
    early = None if forecast.earliest is None else max(forecast.earliest - forecast.now, 0.0)
    late = None if forecast.latest is None else max(forecast.latest - forecast.now, 0.0)
    if early is None:
        return f"95 % interval: more than {_round(ahead)} {unit}."
    low = "now" if early == 0 else f"{_round(early)} {unit}"
    if late is None:
        return f"95 % interval: from {low} to more than {_round(ahead)} {unit}."
    return f"95 % interval: from {low} to {_round(late)} {unit}."


def prediction_words(prediction: Prediction) -> str:
    """One paragraph: what is predicted, by which curve, how far ahead."""
    forecast, unit = prediction.forecast, prediction.series.use_unit
    if isinstance(forecast, NoForecast):
        return f"{CANNOT}. {forecast.reason}"
    if forecast.latest is not None and forecast.latest <= forecast.now:
        return "Limit passed, by the curve and all of its interval."
    ahead = f"Nothing is said beyond {_round(forecast.horizon)} {unit}."
    return (
        f"{forecast_words(prediction)}. {interval_words(forecast, unit)} {prediction.choice} "
        f"{ahead}"
    )


def suggestion_words(suggestion: Suggestion, unit: str) -> str:
    """When to inspect again, and why."""
    if suggestion.ahead is None:
        return suggestion.reason
    # Rounded down: a suggestion must not grow by rounding.
    return f"Within {_round(suggestion.ahead, down=True)} {unit}. {suggestion.reason}"


def told_of(prediction: Prediction, *, unit: Length = "mm") -> str:
    """The chart in sentences."""
    series = prediction.series
    known = [(p.use, p.value) for p in series.points if isinstance(p.value, Measured)]
    if not known:
        return "No values."
    (start, first), (end, last) = known[0], known[-1]
    limit = ""
    if series.limit is not None:
        limit = f" The limit is {plain_words(series.limit, series.unit, shown=unit)}."
    curve = f" Curve: {MODEL_WORDS[prediction.fit.model]}." if prediction.fit else ""
    return (
        f"{len(known)} values from {format_quantity(first, unit=unit)} at {start:.0f} "
        f"{series.use_unit} to {format_quantity(last, unit=unit)} at {end:.0f} "
        f"{series.use_unit}.{limit}{curve} {prediction_words(prediction)}"
    )


def value_words(value: Measured, *, unit: Length = "mm") -> str:
    """A value with its expanded uncertainty; 0 without one was looked for in vain."""
    if value.value == 0 and value.u == 0:
        return "0 (none found)"
    return format_quantity(value, unit=unit)


def factor_to(unit: Unit, shown: Length) -> tuple[float, str]:
    """Factor and sign for showing values of a unit in mm or inches."""
    if shown == "in" and unit in ("mm", "mm2"):
        power = 1 if unit == "mm" else 2
        return MM_PER_INCH**-power, "in" if power == 1 else "in²"
    return 1.0, UNIT_SIGNS[unit]


def with_sign(label: str, sign: str) -> str:
    """A label with its unit in brackets."""
    return f"{label} ({sign})" if sign else label


def plain_words(value: float, unit: Unit, *, shown: Length = "mm") -> str:
    """A number without uncertainty, for instance a limit, in the unit shown."""
    factor, sign = factor_to(unit, shown)
    return f"{factor * value:.4g} {sign}".strip()


def _round(value: float, *, down: bool = False) -> str:
    """Two significant figures say all that a forecast knows."""
    if value <= 0:
        return "0"
    text = f"{value:.2g}"
    rounded = float(text)
    if down and rounded > value:
        step = 10.0 ** (len(str(int(value))) - 2) if value >= 10 else 0.1
        rounded -= step
    return f"{rounded:.0f}" if rounded >= 10 else f"{rounded:g}"
