"""The limits and the result of each criterion, as the report shows them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from damagescore.inspection.record import Inspection
from damagescore.quantity import Length, Quantity, quantity_from_dict


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    title: str
    value: Quantity
    limit: float
    outcome: str
    usage: float | None
    u_usage: float
    reason: str

    def limit_text(self, unit: Length) -> str:
        return f"{self.limit} mm"

    def usage_text(self) -> str:
        return f"{100 * (self.usage or 0):.0f} %"


def judged_criteria(inspection: Inspection) -> list[Judged]:
    a = inspection.assessment or {}
    return [
        Judged(
            title=r["text"],
            value=quantity_from_dict(r["value"]),
            limit=r["limit"],
            outcome=r["outcome"],
            usage=r["usage"],
            u_usage=(r["value"]["u"] or 0) / r["limit"],
            reason=r.get("reason", ""),
        )
        for r in a.get("results", ())
    ]


def limits_text(limit_set: Mapping[str, Any]) -> list[str]:
    return [f"Limit set: {limit_set['title']}, {limit_set['source_document']}"]


def rule_text(limit_set: Mapping[str, Any]) -> str:
    return "rule"


def zone_of(limit_set: Mapping[str, Any]) -> float:
    return 1.65
