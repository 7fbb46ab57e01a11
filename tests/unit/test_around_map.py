"""The map of a round edge, and its part of the report."""

import math
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from pypdf import PdfReader

from damagescore.errors import RecordError
from damagescore.inspection import circumference_of
from damagescore.report import write_report
from damagescore.report.around_map import Shape, around_svg, map_shapes, seen_words
from damagescore.report.around_part import clock_text
from damagescore.report.marks import STYLES
from tests.round_samples import line, patch
from tests.unit.test_circumference import all_round, part

SVG = "{http://www.w3.org/2000/svg}"


def test_the_svg_is_well_formed_and_says_what_was_seen() -> None:
    around = circumference_of(
        part((3.0, (line("crack-1", 90, 80, 100), patch("p", 90, 60, 70))))
    )
    assert around is not None
    root = ET.fromstring(around_svg(around))
    assert root.get("aria-label") == seen_words(around)
    words = [t.text for t in root.iter(f"{SVG}text")]
    assert {"12", "3", "6", "9", "1", "seen"} <= set(words)
    strokes = {p.get("stroke") for p in root.iter(f"{SVG}polyline")}
    for kind in ("crack", "crumbling"):
        assert "#{:02x}{:02x}{:02x}".format(*STYLES[kind].rgb) in strokes


@pytest.mark.parametrize(("hour", "x", "y"), [(12, 0, 1), (3, 1, 0), (6, 0, -1), (9, -1, 0)])
def test_damage_is_drawn_at_its_clock_position(hour: float, x: int, y: int) -> None:
    """12 on top and 3 to the right, as on a clock face."""
    centre = hour * 30
    around = circumference_of(part((hour, (line("crack-1", centre, centre - 5, centre + 5),))))
    assert around is not None
    colour = STYLES["crack"].rgb
    (drawn,) = [s for s in map_shapes(around) if isinstance(s, Shape) and s.stroke == colour]
    middle = [sum(p[i] for p in drawn.points) / len(drawn.points) for i in (0, 1)]
    radius = math.hypot(*middle)
    assert middle[0] / radius == pytest.approx(x, abs=0.01)  # the chord of ten degrees
    assert middle[1] / radius == pytest.approx(y, abs=0.01)  # the same
    assert radius < 0.65  # layer 0 is the innermost ring


def test_a_complete_circumference_says_so() -> None:
    around = circumference_of(all_round())
    assert around is not None
    assert seen_words(around) == "All of the circumference was seen."


def test_clock_positions_are_shown_to_five_minutes() -> None:
    assert [clock_text(a) for a in (0, 45, 359.9, 262.5, -90)] == [
        "12:00", "1:30", "12:00", "8:45", "9:00",
    ]  # fmt: skip


def test_the_report_of_a_round_part_has_the_map(tmp_path: Path) -> None:
    def gone(_key: str) -> bytes:
        raise RecordError("It is not in the vault.")

    record = part((0.0, (line("crack-1", 0, 30, 42),)), (1.0, (line("crack-7", 30, 30, 42),)))
    files = write_report(record, gone, tmp_path)
    words = " ".join(p.extract_text() for p in PdfReader(files.pdf).pages)
    for said in ("Round edge: the whole circumference", "nothing can be said of the rest",
                 "crack-7, photo 2 (also crack-1, photo 1)", "1:00 to 1:25"):  # fmt: skip
        assert " ".join(said.split()) in " ".join(words.split())
