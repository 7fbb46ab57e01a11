"""Which parts are nearest their limits: a table of the present life of each part."""

from collections.abc import Iterable
from dataclasses import dataclass

from damagescore.history.advice import ReinspectionRule, Suggestion, suggest
from damagescore.history.lives import Life
from damagescore.history.predict import Forecast, Prediction, predict
from damagescore.history.series import nearest_limit, series_of, usage_of
from damagescore.limits import LimitSet


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetRow:
    """One part at its worst limit.

    Parameters
    ----------
    life : Life
        The present one.
    prediction : Prediction or None
        Of the limit that is used most; None where nothing could be compared.
    usage : float or None
        Last value over that limit.
    suggestion : Suggestion or None
    """

    life: Life
    prediction: Prediction | None
    usage: float | None
    suggestion: Suggestion | None

    @property
    def left(self) -> float | None:
        """Hours or cycles left by the curve."""
        if self.prediction is None or not isinstance(self.prediction.forecast, Forecast):
            return None
        return self.prediction.forecast.left


def fleet_of(
    lives: Iterable[Life],
    *,
    limit_set: LimitSet | None = None,
    rule: ReinspectionRule | None = None,
) -> tuple[FleetRow, ...]:
    """Rows of the present life of each part, nearest to its limit first.

    Parameters
    ----------
    lives : iterable of Life
    limit_set : LimitSet, optional
        By default each part is compared with the limits of its own latest assessment.
    rule : ReinspectionRule, optional
    """
    present: dict[tuple[str, str], Life] = {}
    for life in lives:
        present[life.part_number, life.serial_number] = life
    rows = [_row(life, limit_set, rule) for life in present.values()]
    return tuple(
        sorted(rows, key=lambda r: (-(r.usage if r.usage is not None else -1.0), r.life.name))
    )


def by_hours_left(rows: Iterable[FleetRow]) -> tuple[FleetRow, ...]:
    """The same rows, least predicted hours first; those without a prediction last."""
    return tuple(
        sorted(
            rows, key=lambda r: (r.left is None, r.left or 0.0, -(r.usage or 0.0), r.life.name)
        )
    )


def _row(life: Life, limit_set: LimitSet | None, rule: ReinspectionRule | None) -> FleetRow:
    worst = nearest_limit(series_of(life, limit_set))
    if worst is None:
        return FleetRow(life=life, prediction=None, usage=None, suggestion=None)
    found = predict(worst)
    return FleetRow(
        life=life, prediction=found, usage=usage_of(worst), suggestion=suggest(found, rule)
    )
