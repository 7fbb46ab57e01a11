"""Commands about time: the history of parts and the comparison of parts on test."""

import argparse
from pathlib import Path
from typing import Any

from damagescore.follow import HistoryJob, compare_plan, gather, keep, run_history
from damagescore.history import ReinspectionRule
from damagescore.limits import read_limit_set
from damagescore.records.store import open_store

DONE = 0


def add_follow_commands(commands: Any) -> None:
    """Add `history` and `compare`."""
    _add_history(commands)
    _add_compare(commands)


def _add_history(commands: Any) -> None:
    command = commands.add_parser(
        "history", help="growth, hours to the limits and the fleet table from records or photos"
    )
    command.add_argument(
        "sources", type=Path, nargs="+", metavar="SOURCE",
        help="data folder, record.json files or folders with them, or plan of photos (TOML)",
    )  # fmt: skip
    command.add_argument("--out", type=Path, required=True, metavar="DIR")
    command.add_argument("--limits", type=Path, metavar="FILE", help="in place of the records'")
    command.add_argument("--axis", choices=("hours", "cycles"), default="hours")
    command.add_argument("--next", type=float, metavar="HOURS", help="of the next inspection")
    command.add_argument("--rule", choices=("chance", "share"), default="chance")
    command.add_argument("--chance", type=float, default=0.05, metavar="0..0.5")
    command.add_argument("--share", type=float, default=0.5, metavar="0..1")
    command.add_argument("--units", choices=("mm", "in"), default="mm")
    command.add_argument("--workers", type=int, metavar="N", help="photos measured at once")
    command.add_argument(
        "--store", type=Path, metavar="DIR", help="keep the plan's inspections"
    )
    command.set_defaults(run=_history)


def _add_compare(commands: Any) -> None:
    command = commands.add_parser(
        "compare", help="compare parts of one endurance test: damage, lives, report"
    )
    command.add_argument("plan", type=Path, metavar="PLAN.toml")
    command.add_argument("--out", type=Path, required=True, metavar="DIR")
    command.add_argument("--units", choices=("mm", "in"), default="mm")
    command.add_argument("--workers", type=int, metavar="N", help="photos measured at once")
    command.set_defaults(run=_compare)


def _history(given: argparse.Namespace) -> int:
    rule = ReinspectionRule(kind=given.rule, chance=given.chance, share=given.share)
    limits = None if given.limits is None else read_limit_set(given.limits)
    job = HistoryJob(
        limits=limits, rule=rule, axis=given.axis, next_use=given.next, unit=given.units
    )
    gathered = gather(given.sources, limits=limits, workers=given.workers)
    if given.store is not None:
        keep(gathered, open_store(given.store))
    run_history(gathered, job, given.out)
    return DONE


def _compare(given: argparse.Namespace) -> int:
    compare_plan(given.plan, given.out, unit=given.units, workers=given.workers)
    return DONE
