"""The fleet table as CSV."""

import csv
import io
from collections.abc import Iterable

from damagescore.history.fleet import FleetRow
from damagescore.history.predict import Forecast
from damagescore.history.words import forecast_words
from damagescore.report.tables import harmless

COLUMNS = (
    "part_number", "serial_number", "life", "inspections", "use", "use_unit", "limit",
    "usage_percent", "left", "left_earliest", "left_latest", "suggested_within", "said",
    "invented_limits",
)  # fmt: skip


def fleet_csv(rows: Iterable[FleetRow]) -> str:
    """Text of a CSV file; no cell can be run as a formula by a spreadsheet."""
    file = io.StringIO(newline="")
    writer = csv.writer(file)
    writer.writerow(COLUMNS)
    for row in rows:
        writer.writerow([harmless(x) for x in _cells(row)])
    return file.getvalue()


def _cells(row: FleetRow) -> list[object]:
    life, found = row.life, row.prediction
    forecast = None if found is None else found.forecast
    early = late = None
    if isinstance(forecast, Forecast):
        early = (
            None if forecast.earliest is None else max(forecast.earliest - forecast.now, 0.0)
        )
        late = None if forecast.latest is None else max(forecast.latest - forecast.now, 0.0)
    said = "nothing to compare with a limit" if found is None else forecast_words(found)
    return [
        life.part_number, life.serial_number, life.number, len(life.inspections), life.last_use,
        "h" if life.axis == "hours" else "cycles", "" if found is None else found.series.id,
        None if row.usage is None else round(100 * row.usage, 1), _whole(row.left),
        _whole(early), _whole(late),
        _whole(None if row.suggestion is None else row.suggestion.ahead), said,
        "" if found is None else ("yes" if found.series.invented else "no"),
    ]  # fmt: skip


def _whole(value: float | None) -> int | None:
    return None if value is None else int(value)
