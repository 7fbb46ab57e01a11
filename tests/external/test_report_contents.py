"""What published rules ask of a record, found in the printed report.

Sources, each read in a public transcription of the rule:

- 14 CFR 43.11(a): type and extent of the inspection, date, total time in service,
  signature, certificate number, statement.
- 21 CFR 11.50(a): a signed record shows the signer's printed name, the date and time, and
  the meaning of the signature.
- ISO/IEC 17025:2017, 7.8.2.1: title, unique identification and a clear end, identification
  of the item, date, results with units, "relates only to the items", who authorised it;
  7.8.6: the decision rule is stated.

Words either are there or are not: no tolerance.
"""

import io
import re
from dataclasses import replace

import pypdf
import pytest

from damagescore.errors import RecordError
from damagescore.inspection import content_sha256
from damagescore.inspection.record import HandMeasurement, Inspection, Part, Signature
from damagescore.limits import assess, demo_limit_set_text, parse_limit_set
from damagescore.quantity import Measured
from damagescore.report import report_pdf

AT = "2026-11-25T10:20:00+00:00"


def no_photo(sha256: str) -> bytes:
    raise RecordError(f"There is no photo {sha256[:6]}.", remedy="Add it.")


@pytest.fixture(scope="module")
def pages() -> list[str]:
    limits = parse_limit_set(demo_limit_set_text(), name="demo")
    hand = HandMeasurement(
        quantity="crack_depth", value=Measured(value=1.5, u=0.1, unit="mm"), gauge_id="G-17",
        by="B. Rowan", at=AT, layer=2,
    )  # fmt: skip
    draft = Inspection(
        id="rec-77", created_at="2026-11-25T09:00:00+00:00",
        part=Part(
            part_number="HV-2210", serial_number="0042", description="laminated bearing",
            hours=812.5, work_order="WO-7",
        ),
        hand=(hand,), limit_set=limits.to_dict(), assessment=assess(limits, []).to_dict(),
    )  # fmt: skip
    signature = Signature(
        name="R. Alder", authorisation="HV-INSP-7",
        statement="I inspected the visible edge of this part.", disposition="refer",
        reason="no photo yet", at=AT, content_sha256="",
    )  # fmt: skip
    whole = replace(draft, signature=signature)
    sealed = replace(signature, content_sha256=content_sha256(whole))
    reader = pypdf.PdfReader(io.BytesIO(report_pdf(replace(draft, signature=sealed), no_photo)))
    return [re.sub(r"\s+", "", page.extract_text()) for page in reader.pages]


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("14 CFR 43.11(a)(1) type and extent", "I inspected the visible edge of this part."),
        ("14 CFR 43.11(a)(2) date", "2026-11-25 10:20:00 UTC"),
        ("14 CFR 43.11(a)(2) total time in service", "Hours in service 812.5"),
        ("14 CFR 43.11(a)(3) certificate number", "Authorisation HV-INSP-7"),
        ("21 CFR 11.50(a)(1) printed name", "Name R. Alder"),
        ("21 CFR 11.50(a)(2) date and time", "Signed at 2026-11-25 10:20:00 UTC"),
        ("21 CFR 11.50(a)(3) meaning", "Decision refer to engineering"),
        ("ISO/IEC 17025 7.8.2.1 a) title", "Inspection record"),
        ("ISO/IEC 17025 7.8.2.1 d) clear end", "End of record"),
        ("ISO/IEC 17025 7.8.2.1 g) item", "Serial number 0042"),
        ("ISO/IEC 17025 7.8.2.1 l) only the items", "relates only to the part"),
        ("ISO/IEC 17025 7.8.2.1 m) results with units", "1.50 ± 0.20 mm"),
        ("ISO/IEC 17025 7.8.6 decision rule", "1.65 standard uncertainties is borderline"),
    ],
)
def test_the_report_holds_what_the_rule_asks(pages: list[str], rule: str, words: str) -> None:
    assert re.sub(r"\s+", "", words) in "".join(pages), rule


def test_each_page_is_identified_as_part_of_the_record(pages: list[str]) -> None:
    # ISO/IEC 17025:2017, 7.8.2.1 d): unique identification of the whole on each part.
    for number, page in enumerate(pages, start=1):
        assert "Recordrec-77" in page
        assert f"Page{number}of{len(pages)}" in page


def test_the_printed_hash_links_the_signature_to_the_content(pages: list[str]) -> None:
    # 21 CFR 11.70: the signature is linked to its record.
    hashes = re.findall(r"SHA-256([0-9a-f]{64})", "".join(pages))
    assert len(hashes) >= len(pages)
    assert len(set(hashes)) == 1
