"""Study data as CSV."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from damagescore.capability.csv_tables import (
    crossed_plan,
    read_crossed,
    read_grades,
    read_sites,
)
from damagescore.capability.detection import Site
from damagescore.errors import StudyError


def test_grades_with_gaps_semicolons_and_a_byte_order_mark() -> None:
    table = read_grades("\ufeffphoto;A. Roe;B. Lund\r\np1;2;3\r\np2;;1,5\r\n\r\n")
    assert table.graders == ("A. Roe", "B. Lund")
    assert table.subjects == ("p1", "p2")
    np.testing.assert_array_equal(table.values, [[2, 3], [np.nan, 1.5]])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "has 0 rows"),
        ("photo,A\n1,2", "has 2 columns"),
        ("photo,A,B\np,2,x", "Line 2 says 'x' for B"),
        ("photo,A,B\np,2,inf", "no number"),
    ],
)
def test_grades_that_cannot_be_read(text, words) -> None:
    with pytest.raises(StudyError, match=words):
        read_grades(text)


def test_a_plan_has_every_combination_and_is_read_back_when_filled() -> None:
    plan = crossed_plan(["P1", "P2", "P3"], ["A", "B"], 2, seed=5)
    lines = plan.splitlines()
    assert len(set(lines)) == len(lines) == 1 + 12
    assert plan == crossed_plan(["P1", "P2", "P3"], ["A", "B"], 2, seed=5)
    filled = [lines[0]]
    for k, line in enumerate(lines[1:]):
        filled.append(f"{line}{k}")
    table = read_crossed("\n".join(filled))
    assert table.values.shape == (3, 2, 2)
    assert sorted(table.values.ravel()) == list(range(12))
    row = lines.index("P2,B,1,") - 1
    assert table.values[table.parts.index("P2"), table.inspectors.index("B"), 0] == row


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("part,value\n1,2", "no column 'inspector'"),
        ("part,inspector,repeat,value\nP,A,1,2\nP,A,1,3", "again"),
        ("part,inspector,repeat,value\nP,A,1,2\nQ,B,1,3", "2 values are missing, part P, insp"),
        ("part,inspector,repeat,value\nP,A,1,", "1 values are missing"),
    ],
)
def test_a_plan_that_is_not_filled(text, words) -> None:
    with pytest.raises(StudyError, match=words):
        read_crossed(text)


def test_sites() -> None:
    text = "size_mm,found,signal,origin\n1.5,yes,3.2,rendered\n,0,,\n0.4,missed,0,prepared\n"
    assert read_sites(text) == (
        Site(size_mm=1.5, found=True, signal=3.2, origin="rendered"),
        Site(size_mm=None, found=False),
        Site(size_mm=0.4, found=False, signal=0.0),
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("size_mm\n1", "no column 'found'"),
        ("size_mm,found\n1,maybe", "'maybe' for found"),
        ("size_mm,found,origin\n1,1,attic", "'attic' for origin"),
    ],
)
def test_sites_that_cannot_be_read(text, words) -> None:
    with pytest.raises(StudyError, match=words):
        read_sites(text)


@given(st.text(st.sampled_from('ab1,.;\n"\r- '), max_size=60), st.sampled_from([0, 1, 2]))
def test_any_text_is_read_or_refused_in_words(text, which) -> None:
    read = (read_grades, read_crossed, read_sites)[which]
    head = ("s,a,b\n", "part,inspector,repeat,value\n", "size_mm,found\n")[which]
    try:
        assert read(head + text) is not None
    except StudyError as fault:
        said = fault
        assert said.remedy
