"""Last part of the report: corrections, cautions, signature."""

from collections.abc import Iterator
from typing import Any

from reportlab.platypus import Flowable, KeepTogether, Spacer

from damagescore.inspection.record import Edit, Inspection
from damagescore.report.look import grid, pairs, text
from damagescore.report.words import CAUTIONS, DISPOSITIONS, NOT_SIGNED, when, words_of


def corrections(inspection: Inspection) -> Iterator[Flowable]:
    """Table of everything that was changed by hand."""
    yield text("Corrections and review steps", "heading")
    if not inspection.edits:
        yield text("None: the findings stand as the program proposed them.")
        return
    yield grid(
        ("No.", "When", "Who", "What", "Why"),
        [
            (
                e.number,
                when(e.at),
                e.by,
                f"{words_of(e.action, {})}: {e.target}{_change(e)}",
                e.reason,
            )
            for e in inspection.edits
        ],
        widths=(5, 19, 16, 38, 28),
    )


def cautions(software: str) -> Iterator[Flowable]:
    """What must be known to read the record rightly."""
    yield text("Cautions", "heading")
    for number, caution in enumerate(CAUTIONS, start=1):
        yield text(f"{number}. {caution}")
    yield text(f"Software: {software}", "note")


def signature_block(inspection: Inspection) -> Iterator[Flowable]:
    """Give the signature, or empty lines to sign on and the mark that nobody did."""
    signature = inspection.signature
    if signature is None:
        heading = text(f"Inspector's decision: {NOT_SIGNED}", "heading")
        note = text("Nobody has decided on this part in this record.")
        line = "_" * 34
        names = ("Name", "Authorisation", "Decision", "Reason", "Date and time", "Signature")
        table = pairs([(name, line) for name in names])
        yield KeepTogether([heading, note, Spacer(1, 6), table])
    else:
        table = pairs(
            [
                ("Name", signature.name),
                ("Authorisation", signature.authorisation),
                ("Decision", words_of(signature.disposition, DISPOSITIONS)),
                ("Reason", signature.reason or "none given"),
                ("Statement", signature.statement),
                ("Signed at", when(signature.at)),
                ("Content SHA-256", signature.content_sha256),
            ],
            columns=1,
        )
        yield KeepTogether([text("Inspector's decision and signature", "heading"), table])
    yield Spacer(1, 10)
    yield text("End of record", "right")


def _change(edit: Edit) -> str:
    """What changed, where it is short enough to be read; the JSON record has it all."""
    before, after = _short(edit.before), _short(edit.after)
    if not before and not after:
        return ""
    return f" ({before or 'none'} → {after or 'none'})"


def _short(value: Any) -> str:
    if isinstance(value, str | int | float) and not isinstance(value, bool):
        return str(value)[:60]
    return ""
