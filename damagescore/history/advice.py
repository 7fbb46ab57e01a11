"""When to inspect again, by a rule that the user sets."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from damagescore.errors import UsageError
from damagescore.history.predict import (
    STEPS,
    Forecast,
    NoForecast,
    Prediction,
)

RuleName = Literal["chance", "share"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReinspectionRule:
    """How far ahead the next inspection may be.

    Parameters
    ----------
    kind : "chance" or "share"
        "chance": so soon that the chance of passing the limit before it stays at or below
        `chance`. "share": after `share` of what is left by the curve.
    chance : float
        Above 0, at most 0.5.
    share : float
        Above 0, at most 1.
    """

    kind: RuleName = "chance"
    chance: float = 0.05
    share: float = 0.5

    def __post_init__(self) -> None:
        if self.kind not in ("chance", "share"):
            raise UsageError(
                f"The rule is {str(self.kind)[:40]!r}.", remedy='Choose "chance" or "share".'
            )
        if not 0 < self.chance <= 0.5:
            raise UsageError(
                f"The chance is {self.chance}, outside 0 to 0.5.",
                remedy="Give for instance 0.05.",
            )
        if not 0 < self.share <= 1:
            raise UsageError(
                f"The share is {self.share}, outside 0 to 1.", remedy="Give for instance 0.5."
            )

    @property
    def text(self) -> str:
        """One phrase for a person."""
        if self.kind == "chance":
            return f"chance of passing the limit at most {100 * self.chance:g} %"
        return f"{100 * self.share:g} % of what is left"


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """Latest use for the next inspection under the rule.

    Parameters
    ----------
    ahead : float or None
        Hours or cycles from the last inspection; None where nothing can be suggested.
    reason : str
    """

    ahead: float | None
    reason: str


def suggest(prediction: Prediction, rule: ReinspectionRule | None = None) -> Suggestion:
    """Suggest when to inspect again; the approved maintenance data govern.

    Never suggests more than the horizon of the forecast.
    """
    rule = rule or ReinspectionRule()
    forecast = prediction.forecast
    if isinstance(forecast, NoForecast) or prediction.fit is None:
        why = forecast.reason if isinstance(forecast, NoForecast) else "No curve was fitted."
        return Suggestion(ahead=None, reason=f"Nothing can be suggested. {why}")
    if rule.kind == "share":
        return _by_share(forecast, rule, prediction.series.use_unit)
    return _by_chance(prediction, forecast, rule)


def _by_share(forecast: Forecast, rule: ReinspectionRule, unit: str) -> Suggestion:
    if forecast.left is None:
        seen = forecast.horizon - forecast.now
        return Suggestion(
            ahead=rule.share * seen,
            reason=f"The curve does not reach the limit within {seen:.0f} {unit}, as far as "
            f"the history tells; {rule.text} is counted from there.",
        )
    if forecast.left == 0:
        return Suggestion(ahead=None, reason="By the curve the limit is reached: inspect now.")
    return Suggestion(ahead=rule.share * forecast.left, reason=f"Rule: {rule.text}.")


def _by_chance(
    prediction: Prediction, forecast: Forecast, rule: ReinspectionRule
) -> Suggestion:
    uses = np.linspace(forecast.now, forecast.horizon, STEPS)
    chance = prediction.chances(uses.tolist())
    if chance[0] > rule.chance:
        return Suggestion(
            ahead=None,
            reason=f"The chance that the limit is passed already is {100 * chance[0]:.2g} %, "
            f"above the {100 * rule.chance:g} % of the rule: inspect now.",
        )
    above = np.flatnonzero(chance > rule.chance)
    if not len(above):
        return Suggestion(
            ahead=forecast.horizon - forecast.now,
            reason=f"Rule: {rule.text}. It would allow more, but the history does not tell "
            "farther ahead.",
        )
    last = uses[above[0] - 1]
    return Suggestion(ahead=float(last - forecast.now), reason=f"Rule: {rule.text}.")
