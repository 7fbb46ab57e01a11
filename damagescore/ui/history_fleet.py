"""The fleet: which parts are nearest their limits."""

from typing import Any

import streamlit as st

from damagescore.history.fleet import FleetRow, by_hours_left
from damagescore.history.record import AXIS_UNITS, Axis
from damagescore.history.words import forecast_words, suggestion_words
from damagescore.report.fleet_csv import fleet_csv
from damagescore.ui.offer import offer
from damagescore.ui.words import invented_badge

ORDERS = ("Usage of the limit", "Predicted time left")


def fleet_view(rows: tuple[FleetRow, ...], *, axis: Axis) -> None:
    """Draw the table and offer it as CSV."""
    order = st.segmented_control(
        "Nearest first by", ORDERS, default=ORDERS[0], required=True, key="fleet-order"
    )
    shown = by_hours_left(rows) if order == ORDERS[1] else rows
    count = len(shown)
    st.caption(f"{count} part{'s' if count != 1 else ''}, each at the limit that it uses most")
    if any(r.prediction is not None and r.prediction.series.invented for r in shown):
        invented_badge()
    unit = AXIS_UNITS[axis]
    st.dataframe(
        [_cells(r, unit) for r in shown], hide_index=True, width="stretch",
        column_config={
            # A long serial number would push all else out of a narrow screen.
            "Part": st.column_config.TextColumn(width=140),
            "Limit used": st.column_config.ProgressColumn(
                "Limit used", format="%d %%", min_value=0, max_value=150,
                help="Last value over its limit; 100 % is at the limit. The bar ends at 150 %.",
            ),
        },
    )  # fmt: skip
    offer(
        "CSV", fleet_csv(shown), file_name="fleet.csv", mime="text/csv", key="fleet-csv",
        icon=":material/download:",
    )  # fmt: skip


def _cells(row: FleetRow, unit: str) -> dict[str, Any]:
    found = row.prediction
    used = None if row.usage is None else min(round(100 * row.usage), 9999)
    return {
        "Part": row.life.name,
        "Limit used": used,
        "Time left": "No limit to compare with" if found is None else forecast_words(found),
        "Inspect again": _again(row, unit),
        "Limit": "" if found is None else found.series.label,
        unit: round(row.life.last_use),
        "Inspections": len(row.life.inspections),
    }


def _again(row: FleetRow, unit: str) -> str:
    suggestion = row.suggestion
    if suggestion is None:
        return ""
    if suggestion.ahead is None:
        return "now" if "inspect now" in suggestion.reason else "no suggestion"
    return suggestion_words(suggestion, unit).partition(".")[0]
