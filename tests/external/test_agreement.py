"""Agreement of graders against published examples.

Sources
-------
Cohen's kappa of a 3 x 3 table: printout of a statistics system in the tests of statsmodels.
Anxiety ratings, 20 x 3: data of the R package irr. Diagnoses, 30 x 6: Fleiss, Psychological
Bulletin 76 (1971) 378-382, data of irr (identical in statsmodels). Shrout & Fleiss,
Psychological Bulletin 86 (1979) 420-428. Reliability data "C": Krippendorff 2011, as in the
documentation of the package krippendorff. Peak flow: Bland & Altman, Lancet 327 (1986)
307-310, data of the R package MethComp; the printed values are from memory. Words: Altman
1991, as tabulated in the R package irrCAC. All seen on 2026-11-25.

Tolerances: half of the last digit that the source shows.
"""

import numpy as np
import pytest

from damagescore.capability.agreement import cohen, fleiss, krippendorff_alpha, words
from damagescore.capability.numbers import bland_altman, intraclass, repeatability
from damagescore.capability.record import Estimate

# fmt: off
ANXIETY = np.array([
    [3, 3, 2], [3, 6, 1], [3, 4, 4], [4, 6, 4], [5, 2, 3], [5, 4, 2],
    [2, 2, 1], [3, 4, 6], [5, 3, 1], [2, 3, 1], [2, 2, 1], [6, 3, 2],
    [1, 3, 3], [5, 3, 3], [2, 2, 1], [2, 2, 1], [1, 1, 3], [2, 3, 3],
    [4, 3, 2], [3, 4, 2],
], float)

DIAGNOSES = np.array([
    [4, 4, 4, 4, 4, 4], [2, 2, 2, 5, 5, 5], [2, 3, 3, 3, 3, 5], [5, 5, 5, 5, 5, 5],
    [2, 2, 2, 4, 4, 4], [1, 1, 3, 3, 3, 3], [3, 3, 3, 3, 5, 5], [1, 1, 3, 3, 3, 4],
    [1, 1, 4, 4, 4, 4], [5, 5, 5, 5, 5, 5], [1, 4, 4, 4, 4, 4], [1, 2, 4, 4, 4, 4],
    [2, 2, 2, 3, 3, 3], [1, 4, 4, 4, 4, 4], [2, 2, 4, 4, 4, 5], [3, 3, 3, 3, 3, 5],
    [1, 1, 1, 4, 5, 5], [1, 1, 1, 1, 1, 2], [2, 2, 4, 4, 4, 4], [1, 3, 3, 5, 5, 5],
    [5, 5, 5, 5, 5, 5], [2, 4, 4, 4, 4, 4], [2, 2, 4, 5, 5, 5], [1, 1, 4, 4, 4, 4],
    [1, 4, 4, 4, 4, 5], [2, 2, 2, 2, 2, 4], [1, 1, 1, 1, 5, 5], [2, 2, 4, 4, 4, 4],
    [1, 3, 3, 3, 3, 3], [5, 5, 5, 5, 5, 5],
], float)

SHROUT_FLEISS = np.array([
    [9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7],
], float)

_ = np.nan
RELIABILITY_C = np.array([
    [1, 2, 3, 3, 2, 1, 4, 1, 2, _, _, _],
    [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, _, 3],
    [_, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, _],
    [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, _],
]).T

WRIGHT = np.array([
    494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427,
], float)
WRIGHT_AGAIN = np.array([
    490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421,
], float)
MINI = np.array([
    512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451,
], float)
MINI_AGAIN = np.array([
    525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443,
], float)
# fmt: on


def _from_table(table: list[list[int]]) -> tuple[np.ndarray, np.ndarray]:
    pairs = [
        (r, c) for r, row in enumerate(table) for c, n in enumerate(row) for _k in range(n)
    ]
    first, second = np.array(pairs, float).T
    return first, second


@pytest.mark.parametrize(
    ("weights", "value", "low", "high"),
    [("none", 0.4842, 0.2137, 0.7547), ("linear", 0.4701, 0.1845, 0.7558)],
)
def test_kappa_of_a_printed_table(weights, value, low, high) -> None:
    first, second = _from_table([[0, 4, 1], [0, 8, 0], [0, 1, 5]])
    kappa = cohen(first, second, levels=(0, 1, 2), weights=weights)
    assert isinstance(kappa, Estimate)
    assert (kappa.value, kappa.low, kappa.high) == pytest.approx(
        (value, low, high), abs=5e-5
    )  # half of the last printed digit
    assert kappa.n == 19


@pytest.mark.parametrize(
    ("weights", "value"), [("none", 0.119497), ("linear", 0.189189), ("quadratic", 0.296765)]
)
def test_kappa_of_the_anxiety_ratings(weights, value) -> None:
    kappa = cohen(ANXIETY[:, 0], ANXIETY[:, 1], levels=range(1, 7), weights=weights)
    assert kappa.value == pytest.approx(value, abs=1e-6)  # recomputed to six digits


def test_fleiss_of_the_psychiatric_diagnoses() -> None:
    kappa = fleiss(DIAGNOSES, levels=range(1, 6))
    assert kappa.value == pytest.approx(0.430245, abs=1e-6)  # the paper prints 0.430
    assert kappa.low < 0.430 < kappa.high


def test_first_half_of_the_diagnoses() -> None:
    # irrCAC, overview: Fleiss .4139265, Krippendorff .4204384 on the first 15 subjects.
    half = DIAGNOSES[:15]
    assert fleiss(half, levels=range(1, 6)).value == pytest.approx(
        0.4139265, abs=1e-6
    )  # seven digits printed
    alpha = krippendorff_alpha(half, kind="nominal")
    assert alpha.value == pytest.approx(0.4204384, abs=1e-6)  # seven digits printed


@pytest.mark.parametrize(
    ("kind", "value"),
    [("nominal", 0.743421), ("ordinal", 0.815388), ("interval", 0.849107), ("ratio", 0.797403)],
)
def test_alpha_with_missing_grades(kind, value) -> None:
    alpha = krippendorff_alpha(RELIABILITY_C, kind=kind)
    assert alpha.value == pytest.approx(value, abs=1e-6)  # recomputed to six digits


@pytest.mark.parametrize(
    ("form", "averaged", "value"),
    [
        ("one-way", False, 0.165742), ("agreement", False, 0.289764),
        ("consistency", False, 0.714841), ("one-way", True, 0.442797),
        ("agreement", True, 0.620051), ("consistency", True, 0.909316),
    ],
)  # fmt: skip
def test_six_forms_of_the_intraclass_correlation(form, averaged, value) -> None:
    icc = intraclass(SHROUT_FLEISS, form=form, averaged=averaged)
    assert icc.value == pytest.approx(value, abs=1e-6)  # recomputed to six digits


@pytest.mark.parametrize(
    ("form", "low", "high"),
    [("one-way", -0.13, 0.72), ("agreement", 0.02, 0.76), ("consistency", 0.34, 0.95)],
)
def test_intervals_of_the_intraclass_correlation(form, low, high) -> None:
    icc = intraclass(SHROUT_FLEISS, form=form)
    assert (icc.low, icc.high) == pytest.approx(
        (low, high), abs=0.005
    )  # half of the last printed digit


def test_intraclass_of_the_anxiety_ratings() -> None:
    icc = intraclass(ANXIETY, form="agreement")
    assert icc.value == pytest.approx(0.197998, abs=1e-6)  # recomputed to six digits


def test_peak_flow_meters() -> None:
    # Printed: mean -2.1, standard deviation 38.8, SE of the mean 9.4, SE of a limit 16.3.
    compared = bland_altman(WRIGHT, MINI)
    assert compared.bias.value == pytest.approx(-2.11765, abs=1e-5)  # recomputed
    assert (compared.lower.value, compared.upper.value) == pytest.approx(
        (-78.097, 73.862), abs=5e-4
    )  # recomputed
    assert (compared.bias.low, compared.bias.high) == pytest.approx(
        (-22.05, 17.81), abs=5e-3
    )  # recomputed
    half = (compared.upper.high - compared.upper.low) / 2
    assert half / 2.1199 == pytest.approx(16.285, abs=1e-2)  # the t quantile has five digits


def test_repeatability_of_peak_flow_meters() -> None:
    # Printed 43.2 and 56.4 from rounded squares.
    assert repeatability(WRIGHT, WRIGHT_AGAIN) == pytest.approx(43.294, abs=1e-3)  # recomputed
    assert repeatability(MINI, MINI_AGAIN) == pytest.approx(56.316, abs=1e-3)  # recomputed


def test_words_of_the_table() -> None:
    seen = [words(x) for x in (-0.1, 0.19, 0.3, 0.5, 0.7, 0.81, 1.0)]
    assert seen == ["poor", "poor", "fair", "moderate", "good", "very good", "very good"]
