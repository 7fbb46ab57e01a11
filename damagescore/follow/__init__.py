"""Histories and comparisons from records or photos to their papers, without the app."""

from damagescore.follow.compare_run import compare_plan
from damagescore.follow.history_run import HistoryJob, run_history
from damagescore.follow.sources import gather, keep

__all__ = ["HistoryJob", "compare_plan", "gather", "keep", "run_history"]
