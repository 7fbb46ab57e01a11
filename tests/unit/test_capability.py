"""Studies that cannot answer say why, and never with a number."""

import numpy as np
import pytest

from damagescore.capability.agreement import cohen, fleiss, krippendorff_alpha
from damagescore.capability.crossed import analyse
from damagescore.capability.detection import Site, false_calls, hit_miss
from damagescore.capability.numbers import bland_altman, intraclass
from damagescore.capability.record import NoEstimate
from damagescore.capability.signal_response import Gates, signal_response
from damagescore.errors import StudyError


def _site(size_mm, found, **more) -> Site:
    return Site(size_mm=size_mm, found=found, **more)


def test_grades_that_are_all_the_same_give_no_kappa() -> None:
    same = np.full((8, 3), 2.0)
    answers = [
        cohen(same[:, 0], same[:, 1], levels=range(6)),
        fleiss(same, levels=range(6)),
        krippendorff_alpha(same, kind="ordinal"),
    ]
    assert all(isinstance(a, NoEstimate) for a in answers)
    assert all("chance cannot be told from agreement" in a.reason for a in answers)


def test_a_missing_grade_leaves_its_subject_out() -> None:
    rng = np.random.default_rng(4)
    grades = rng.integers(0, 4, (30, 2)).astype(float)
    grades[3, 1] = np.nan
    kappa = cohen(*grades.T, levels=range(4), weights="quadratic")
    whole = cohen(*np.delete(grades, 3, axis=0).T, levels=range(4), weights="quadratic")
    assert kappa == whole


def test_a_grade_off_the_scale_is_named() -> None:
    with pytest.raises(StudyError, match="grade 7 is not on the scale 0, 1, 2"):
        cohen(np.array([0.0, 7.0]), np.array([1.0, 2.0]), levels=(0, 1, 2))


def test_perfect_agreement_is_one() -> None:
    grades = np.tile(np.arange(12.0)[:, None] % 4, (1, 3))
    assert fleiss(grades, levels=range(4)).value == pytest.approx(1.0)
    assert krippendorff_alpha(grades, kind="ordinal").value == pytest.approx(1.0)


def test_too_few_subjects_for_intraclass() -> None:
    answer = intraclass(np.array([[1.0, 2.0], [2.0, np.nan], [3.0, 3.0]]), form="agreement")
    assert isinstance(answer, NoEstimate)


def test_too_few_pairs_to_compare() -> None:
    with pytest.raises(StudyError, match="Only 3 subjects"):
        bland_altman(np.arange(3.0), np.arange(3.0))


def test_differences_that_grow_with_size_are_noticed() -> None:
    size = np.linspace(1, 20, 25)
    assert bland_altman(1.1 * size, size).trend_p < 0.001


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (np.ones((4, 1, 3)), "4 x 1 x 3 parts"),
        (np.full((3, 2, 2), 5.0), "All 12 values are 5"),
        (np.where(np.arange(12).reshape(3, 2, 2) == 5, np.nan, 1.0), "1 of 12 values"),
    ],
)
def test_a_study_that_is_not_crossed_is_refused(values, words) -> None:
    with pytest.raises(StudyError, match=words):
        analyse(values)


def test_finds_from_service_are_refused() -> None:
    sites = [_site(1.0, True)] * 20 + [_site(2.0, True, origin="field")]
    with pytest.raises(StudyError, match="1 of 21 sites are finds from service"):
        hit_miss(sites)


@pytest.mark.parametrize(
    ("sites", "words"),
    [
        ([_site(1.0, True)] * 5, "too few"),
        ([_site(x, True) for x in range(1, 20)], "all 19 sites were found"),
        ([_site(x, x > 10) for x in range(1, 20)], "all above 11 mm were found"),
        ([_site(x, x < 12 or x == 15) for x in range(1, 20)], "not found more often"),
    ],
)
def test_sites_that_determine_no_curve(sites, words) -> None:
    answer = hit_miss(sites)
    assert isinstance(answer, NoEstimate)
    assert words in answer.reason


def test_a_site_without_signal_is_no_zero() -> None:
    sites = [_site(x, True, signal=float(x)) for x in range(1, 15)] + [_site(3.0, False)]
    with pytest.raises(StudyError, match="1 of 15 sites"):
        signal_response(sites, gates=Gates(decision=2.0))


def test_gates_out_of_order() -> None:
    with pytest.raises(StudyError, match="not in rising order"):
        signal_response([], gates=Gates(decision=1.0, noise=2.0))


def test_no_blank_sites_no_false_call_rate() -> None:
    assert isinstance(false_calls([_site(1.0, True)]), NoEstimate)
