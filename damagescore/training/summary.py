"""A trainee's practice on paper, for the trainer: what was answered, no certificate."""

import hashlib
import json
from collections.abc import Iterator
from statistics import median

from reportlab.platypus import Flowable, Spacer

from damagescore import __version__
from damagescore.report.look import grid, text
from damagescore.report.pages import PageFacts, build_pdf
from damagescore.training.practice import Feedback, Progress

NO_CERTIFICATE = (
    "This is a summary of practice and no certificate. It does not qualify anybody to inspect "
    "or to sign; the trainer decides what it is worth."
)


def summary_pdf(progress: Progress, *, trainer: str, made_on: str) -> bytes:
    """Give the summary as PDF; the same answers give the same bytes.

    Parameters
    ----------
    progress : Progress
    trainer : str
        Who asked for it.
    made_on : str
        Date, as it is printed.
    """
    plain = json.dumps([f.comparison.to_dict() for f in progress.feedback], sort_keys=True)
    facts = PageFacts(
        record_id=progress.trainee, subject=f"practice of {progress.trainee}",
        mark="NO CERTIFICATE", banner="", software=f"damagescore {__version__}",
        content_sha256=hashlib.sha256(plain.encode()).hexdigest(), document="Practice summary",
    )  # fmt: skip
    return build_pdf(list(_story(progress, trainer, made_on)), facts)


def _story(progress: Progress, trainer: str, made_on: str) -> Iterator[Flowable]:
    yield text(f"Practice of {progress.trainee}", "title")
    yield text(f"For {trainer}, {made_on}. {len(progress.feedback)} answers.", "subtitle")
    yield Spacer(1, 8)
    yield text(NO_CERTIFICATE)
    yield text("In all", "heading")
    yield grid(["", ""], summary_rows(progress), widths=[2, 5])
    yield text("Answer by answer", "heading")
    rows = [
        _row(number, at, feedback)
        for number, (at, feedback) in enumerate(
            zip(progress.committed_at, progress.feedback, strict=True), start=1
        )
    ]
    yield grid(
        ["", "When (UTC)", "Found", "Missed", "Extra", "Grade off by", "Call"], rows,
        widths=[1, 4, 2, 2, 2, 3, 3],
    )  # fmt: skip


def summary_rows(progress: Progress) -> list[list[str]]:
    """What all answers together say, in pairs of words."""
    found, missed = progress.found, progress.missed
    errors = [abs(e) for e in progress.size_errors_percent]
    off = progress.grades_off
    right = progress.calls_right
    return [
        ["Findings found", _share(found, found + missed)],
        ["Drawn where nothing was agreed", str(progress.extra)],
        [
            "Error of sizes, median",
            f"{median(errors):.1f} %" if errors else "nothing to compare",
        ],
        ["Grades exactly right", _share(sum(x == 0 for x in off), len(off))],
        [
            "Grades too mild, too strict",
            f"{sum(x < 0 for x in off)}, {sum(x > 0 for x in off)}",
        ],
        ["Calls against limits right", _share(sum(right), len(right))],
    ]


def _share(part: int, whole: int) -> str:
    return f"{part} of {whole} ({100 * part / whole:.0f} %)" if whole else "none was asked"


def _row(number: int, at: str, feedback: Feedback) -> list[str]:
    call = {True: "right", False: "wrong", None: "–"}[feedback.call_right]
    off = "–" if feedback.grade_off is None else f"{feedback.grade_off:+d}"
    comparison = feedback.comparison
    return [
        str(number), at[:16].replace("T", " "), str(len(comparison.matches)),
        str(len(comparison.missed)), str(len(comparison.extra)), off, call,
    ]  # fmt: skip
