"""The durable store: inspections, photos, limit sets, sign-off chain."""

from damagescore.records.limit_versions import LimitSetSummary
from damagescore.records.search import Filters, Found, Summary
from damagescore.records.store import Store, open_store

__all__ = ["Filters", "Found", "LimitSetSummary", "Store", "Summary", "open_store"]
