"""The command `history`: papers of each part, and the fleet table."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from damagescore.follow.same import follow_findings
from damagescore.follow.sources import Gathered
from damagescore.history.advice import ReinspectionRule
from damagescore.history.fleet import fleet_of
from damagescore.history.lives import Life, lives_of
from damagescore.history.predict import predict
from damagescore.history.record import Axis
from damagescore.history.series import limit_set_of, series_of
from damagescore.history.words import forecast_words
from damagescore.limits import LimitSet
from damagescore.quantity import Length
from damagescore.report.fleet_csv import fleet_csv
from damagescore.report.history_report import PartHistory, history_json, history_pdf


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryJob:
    """What the user asks of a history.

    Parameters
    ----------
    limits : LimitSet or None
        By default each part is compared with the limits of its latest assessment.
    rule : ReinspectionRule
    axis : "hours" or "cycles"
    next_use : float or None
        Hours or cycles of the next inspection.
    unit : "mm" or "in"
    """

    limits: LimitSet | None = None
    rule: ReinspectionRule = field(default_factory=ReinspectionRule)
    axis: Axis = "hours"
    next_use: float | None = None
    unit: Length = "mm"


def run_history(
    gathered: Gathered, job: HistoryJob, out: Path, *, say: Callable[[str], None] = print
) -> list[Path]:
    """Write history.pdf and history.json of each part, and fleet.csv; return the paths."""
    lives, left_out = lives_of(gathered.inspections, axis=job.axis)
    rows = fleet_of(lives, limit_set=job.limits, rule=job.rule)
    out.mkdir(parents=True, exist_ok=True)
    fleet = out / "fleet.csv"
    fleet.write_text(fleet_csv(rows), encoding="utf-8", newline="")
    written = [fleet]
    for row in rows:
        history = history_of(row.life, job, gathered.photo_bytes)
        folder = out / safe_name(row.life.name)
        written += _write(history, folder, job.unit)
        said = "no limit" if row.prediction is None else forecast_words(row.prediction)
        used = "" if row.usage is None else f", {100 * row.usage:.0f} % of the limit used"
        say(f"{row.life.name}: {len(row.life.inspections)} inspections{used}; {said}")
    for item in left_out:
        say(f"left out: record {item.record_id}: {item.reason}")
    say(str(fleet))
    return written


def history_of(
    life: Life, job: HistoryJob, loader: Callable[[str], bytes] | None = None
) -> PartHistory:
    """Predict every series of a life; with photos also what became of each finding."""
    limits = job.limits or limit_set_of(life)
    followed = None
    if loader is not None and len(life.inspections) > 1:
        followed = follow_findings(life, loader, limit_set=limits)
    return PartHistory(
        life=life, predictions=tuple(predict(s) for s in series_of(life, limits)),
        rule=job.rule, next_use=job.next_use, followed=followed,
    )  # fmt: skip


def safe_name(name: str) -> str:
    """A name that can be one of a file."""
    kept = "".join(c if c.isalnum() or c in "-_." else "-" for c in name)
    return "-".join(x for x in kept.strip(".-").split("-") if x) or "part"


def _write(history: PartHistory, folder: Path, unit: Length) -> Iterable[Path]:
    folder.mkdir(parents=True, exist_ok=True)
    pdf, plain = folder / "history.pdf", folder / "history.json"
    pdf.write_bytes(history_pdf(history, unit=unit))
    plain.write_text(history_json(history), encoding="utf-8", newline="\n")
    return [pdf, plain]
