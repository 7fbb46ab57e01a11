"""The durable store: inspections, photos, limit sets, sign-off chain."""

from damagescore.records.limit_versions import LimitSetSummary
from damagescore.records.rows import Summary
from damagescore.records.store import Store

__all__ = ["LimitSetSummary", "Store", "Summary"]
