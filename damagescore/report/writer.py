"""Write the report of one inspection: PDF, JSON and CSV."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from reportlab.platypus import Flowable

from damagescore import __version__
from damagescore.errors import RecordError
from damagescore.inspection import content_sha256
from damagescore.inspection.record import Inspection
from damagescore.quantity import Length
from damagescore.report.around_part import around_part
from damagescore.report.budgets import budgets
from damagescore.report.closing import cautions, corrections, signature_block
from damagescore.report.opening import findings, hand_measurements, opening
from damagescore.report.pages import PageFacts, build_pdf
from damagescore.report.photo_part import photo_part
from damagescore.report.tables import findings_csv, record_json
from damagescore.report.words import INVENTED, NOT_SIGNED, when

SOFTWARE = f"damagescore {__version__}"

PhotoLoader = Callable[[str], bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportFiles:
    """The three files of a report."""

    pdf: Path
    json: Path
    csv: Path


def write_report(
    inspection: Inspection, photo_loader: PhotoLoader, folder: Path, *, unit: Length = "mm"
) -> ReportFiles:
    """Write report.pdf, record.json and findings.csv.

    Parameters
    ----------
    inspection : Inspection
    photo_loader : callable
        Gives a photo's bytes by its SHA-256, as `Store.photo_bytes` does. A photo
        that it refuses is named in the report with the reason.
    folder : Path
        Made when missing; files of those names in it are replaced.
    unit : "mm" or "in"
        Of the PDF; the JSON and the CSV keep millimetres.

    Returns
    -------
    ReportFiles

    Raises
    ------
    RecordError
        When the folder cannot be written.
    """
    folder = Path(folder)
    pdf = report_pdf(inspection, photo_loader, unit=unit)
    files = ReportFiles(
        pdf=folder / "report.pdf", json=folder / "record.json", csv=folder / "findings.csv"
    )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        files.pdf.write_bytes(pdf)
        files.json.write_text(
            record_json(inspection, software=SOFTWARE), encoding="utf-8", newline="\n"
        )
        files.csv.write_text(findings_csv(inspection), encoding="utf-8", newline="")
    except OSError as fault:
        raise RecordError(
            f"The report cannot be written to {folder}: {fault.strerror or fault}.",
            remedy="Check the folder's permissions and free space, or choose another folder.",
        ) from fault
    return files


def report_pdf(
    inspection: Inspection, photo_loader: PhotoLoader, *, unit: Length = "mm"
) -> bytes:
    """Give the PDF alone, as bytes; see `write_report`."""
    story = list(_story(inspection, photo_loader, unit=unit))
    return build_pdf(story, _page_facts(inspection))


def _story(inspection: Inspection, loader: PhotoLoader, *, unit: Length) -> Iterator[Flowable]:
    yield from opening(inspection, unit=unit)
    yield from findings(inspection, unit=unit)
    yield from hand_measurements(inspection, unit=unit)
    yield from around_part(inspection, unit=unit)
    for number, entry in enumerate(inspection.photos, start=1):
        yield from photo_part(entry, number, loader=loader, unit=unit)
    yield from budgets(inspection, unit=unit)
    yield from corrections(inspection, unit=unit)
    yield from cautions(inspection.software or SOFTWARE)
    yield from signature_block(inspection)


def _page_facts(inspection: Inspection) -> PageFacts:
    part, signature = inspection.part, inspection.signature
    subject = (
        f"Part {part.part_number or 'number not given'}, "
        f"serial {part.serial_number or 'number not given'}"
    )
    mark = NOT_SIGNED
    if signature is not None:
        mark = f"Signed by {signature.name}, {when(signature.at)}"
    limits = inspection.limit_set or {}
    return PageFacts(
        record_id=inspection.id,
        subject=subject,
        mark=mark,
        banner=INVENTED if limits.get("invented") else "",
        software=SOFTWARE,
        content_sha256=content_sha256(inspection),
    )
