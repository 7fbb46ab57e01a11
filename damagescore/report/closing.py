"""Last part of the report: corrections, cautions, signature."""

from collections.abc import Iterator

from reportlab.platypus import Flowable, KeepTogether, Spacer

from damagescore.inspection.record import Edit, Inspection, Signature
from damagescore.quantity import Length
from damagescore.report.changes import change_text
from damagescore.report.look import grid, pairs, text
from damagescore.report.words import CAUTIONS, DISPOSITIONS, NOT_SIGNED, when, words_of


def corrections(inspection: Inspection, *, unit: Length) -> Iterator[Flowable]:
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
                _what(e, unit),
                e.reason,
            )
            for e in inspection.edits
        ],
        widths=(5, 23, 16, 36, 26),
    )


def cautions(software: str) -> Iterator[Flowable]:
    """What must be known to read the record rightly."""
    yield text("Cautions", "heading")
    for number, caution in enumerate(CAUTIONS, start=1):
        yield text(f"{number}. {caution}")
    yield text(f"Software: {software}", "note")


def _certificate(signature: Signature) -> Iterator[tuple[str, str]]:
    if signature.certificate_number or signature.certificate_kind:
        number = signature.certificate_number or "number not given"
        yield "Certificate", f"{number}, {signature.certificate_kind or 'kind not given'}"


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
                *_certificate(signature),
                ("Decision", words_of(signature.disposition, DISPOSITIONS)),
                ("Reason", signature.reason or "none given"),
                ("Statement", signature.statement),
                ("Signed at", when(signature.at)),
                ("Content SHA-256", signature.content_sha256),
                ("Sealed with key", signature.public_key or "none: signed by name only"),
            ],
            columns=1,
        )
        yield KeepTogether([text("Inspector's decision and signature", "heading"), table])
    yield Spacer(1, 10)
    yield text("End of record", "right")


def _what(edit: Edit, unit: Length) -> str:
    change = change_text(edit.before, edit.after, unit=unit)
    return f"{words_of(edit.action, {})}: {edit.target}{f' ({change})' if change else ''}"
