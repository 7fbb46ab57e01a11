"""How well graders agree beyond chance: Cohen, Fleiss and Krippendorff.

Grades are arrays of shape (S, G): S subjects (photos or findings), G graders, NaN where a
grader gave no grade. The statistics come from statsmodels and krippendorff; what is
added here is the care for missing grades and undetermined cases, and the intervals.
"""

from collections.abc import Callable, Sequence
from typing import Any, Literal

import krippendorff
import numpy as np
from numpy.typing import NDArray
from statsmodels.stats.inter_rater import aggregate_raters, cohens_kappa, fleiss_kappa

from damagescore.capability.record import Answer, Estimate, NoEstimate
from damagescore.errors import StudyError

Grades = NDArray[np.float64]
Weights = Literal["none", "linear", "quadratic"]
Kind = Literal["nominal", "ordinal", "interval", "ratio"]

DRAWS = 1000
"""Bootstrap draws of subjects: the ends of a 95 % interval move by about 2 % of its width."""

FEWEST = 5
"""Subjects below which no interval is given: a bootstrap of fewer cannot show the spread."""

ALL_THE_SAME = "all grades are the same, so chance cannot be told from agreement"

BANDS = ((0.2, "poor"), (0.4, "fair"), (0.6, "moderate"), (0.8, "good"), (1.0, "very good"))
"""Words for a coefficient of agreement (Altman, Practical Statistics for Medical Research,
1991)."""


def words(coefficient: float) -> str:
    """Say a coefficient of agreement in a word of Altman's table.

    Parameters
    ----------
    coefficient : float
        At most 1; below 0 is less than chance, which is "poor".
    """
    return next(word for upper, word in BANDS if coefficient <= upper or upper == 1.0)


def cohen(
    first: Grades, second: Grades, *, levels: Sequence[float], weights: Weights = "none"
) -> Answer:
    """Cohen's kappa of two graders, plain or weighted, with its asymptotic interval.

    Parameters
    ----------
    first, second : ndarray, shape (S,)
        Grades; subjects that one of the two left out are not used.
    levels : sequence of float
        All grades of the scale, in order, also those never given.
    weights : "none", "linear" or "quadratic"
        How much less a near miss counts.

    Raises
    ------
    StudyError
        For a grade that is not on the scale, or grades of unequal number.

    Notes
    -----
    Cohen 1960, 1968; standard error of Fleiss, Cohen & Everitt 1969, as in statsmodels.
    """
    method = "Cohen's kappa" if weights == "none" else f"Cohen's kappa, {weights} weights"
    if len(first) != len(second):
        raise StudyError(
            f"The graders gave {len(first)} and {len(second)} grades.",
            remedy="Give one place for each subject, left empty where there is no grade.",
        )
    both = np.isfinite(first) & np.isfinite(second)
    table = _table(first[both], second[both], levels)
    lonely = _undetermined(table)
    if lonely:
        return NoEstimate(reason=lonely, method=method)
    with np.errstate(invalid="ignore"):
        result = cohens_kappa(table, wt=None if weights == "none" else weights)
    if not np.isfinite([result.kappa, result.kappa_low, result.kappa_upp]).all():
        return NoEstimate(reason="the grades leave chance or its error at zero", method=method)
    return Estimate(
        value=float(result.kappa), low=float(result.kappa_low), high=float(result.kappa_upp),
        n=int(both.sum()), method=f"{method}, asymptotic interval",
    )  # fmt: skip


def _table(first: Grades, second: Grades, levels: Sequence[float]) -> NDArray[np.int64]:
    places = {float(level): k for k, level in enumerate(levels)}
    table = np.zeros((len(levels), len(levels)), np.int64)
    for a, b in zip(first, second, strict=True):
        table[_place(a, places), _place(b, places)] += 1
    return table


def _place(grade: float, places: dict[float, int]) -> int:
    if float(grade) not in places:
        raise StudyError(
            f"The grade {grade:g} is not on the scale {', '.join(f'{x:g}' for x in places)}.",
            remedy="Correct the grade or choose the scale it was given on.",
        )
    return places[float(grade)]


def _undetermined(table: NDArray[np.int64]) -> str:
    if table.sum() < 2:
        return f"only {table.sum()} subjects were graded by both"
    if (table.sum(axis=0) > 0).sum() == 1 and (table.sum(axis=1) > 0).sum() == 1:
        return "each grader used one grade only, so chance cannot be told from agreement"
    return ""


def fleiss(grades: Grades, *, levels: Sequence[float]) -> Answer:
    """Fleiss' kappa of any number of graders, with a bootstrap interval over subjects.

    Parameters
    ----------
    grades : ndarray, shape (S, G)
        Subjects with a missing grade are left out: the statistic needs as many grades of
        each. `krippendorff_alpha` uses them all.
    levels : sequence of float
        All grades of the scale.

    Notes
    -----
    Fleiss 1971, as in statsmodels; percentile bootstrap of the subjects (Efron 1979).
    """
    method = "Fleiss' kappa"
    whole = grades[np.isfinite(grades).all(axis=1)]
    places = {float(level): k for k, level in enumerate(levels)}
    coded = np.array([[_place(g, places) for g in row] for row in whole], np.int64)
    if len(coded) < 2:
        return NoEstimate(
            reason=f"only {len(coded)} subjects were graded by all", method=method
        )
    if len(np.unique(coded)) < 2:
        return NoEstimate(reason=ALL_THE_SAME, method=method)
    counts = aggregate_raters(coded, n_cat=len(levels))[0]
    return _bootstrapped(
        counts, lambda c: float(fleiss_kappa(c)), determined=_two_grades, method=method
    )


def statistics_of(grades: Grades) -> tuple[Answer, ...]:
    """Give every coefficient that fits the number of graders; the scale is the grades given.

    Two graders have Cohen's kappa with each weighting, more have Fleiss' kappa; all have
    Krippendorff's alpha for names and for an order.
    """
    levels = sorted({float(v) for v in grades.ravel() if np.isfinite(v)})
    alphas = tuple(krippendorff_alpha(grades, kind=k) for k in ("nominal", "ordinal"))
    if grades.shape[1] != 2:
        return fleiss(grades, levels=levels), *alphas
    first, second = grades.T
    kappas = (
        cohen(first, second, levels=levels, weights=w) for w in ("none", "linear", "quadratic")
    )
    return *kappas, *alphas


def _two_grades(counts: NDArray[np.int64]) -> bool:
    return bool((counts.sum(axis=0) > 0).sum() > 1)


def krippendorff_alpha(grades: Grades, *, kind: Kind) -> Answer:
    """Krippendorff's alpha: any number of graders, missing grades allowed.

    Parameters
    ----------
    grades : ndarray, shape (S, G)
    kind : "nominal", "ordinal", "interval" or "ratio"
        What the grades are: names, an order, or numbers.

    Notes
    -----
    Krippendorff 2011, "Computing Krippendorff's Alpha-Reliability", as in the package
    krippendorff; percentile bootstrap of the subjects.
    """
    method = f"Krippendorff's alpha, {kind}"
    paired = grades[np.isfinite(grades).sum(axis=1) >= 2]
    if len(paired) < 2:
        reason = f"only {len(paired)} subjects have two grades or more"
        return NoEstimate(reason=reason, method=method)
    if not _varied(paired):
        return NoEstimate(reason=ALL_THE_SAME, method=method)

    def alpha(rows: Grades) -> float:
        return float(krippendorff.alpha(reliability_data=rows.T, level_of_measurement=kind))

    return _bootstrapped(paired, alpha, determined=_varied, method=method)


def _varied(grades: Grades) -> bool:
    return len(np.unique(grades[np.isfinite(grades)])) > 1


def _bootstrapped(
    rows: NDArray[Any],
    statistic: Callable[[NDArray[Any]], float],
    *,
    determined: Callable[[NDArray[Any]], bool],
    method: str,
) -> Answer:
    """Percentile interval over subjects drawn with replacement, seeded: the same each time."""
    if len(rows) < FEWEST:
        reason = f"{len(rows)} subjects are too few for an interval; {FEWEST} are needed"
        return NoEstimate(reason=reason, method=method)
    rng = np.random.default_rng(len(rows))
    drawn = (rows[rng.integers(0, len(rows), len(rows))] for _ in range(DRAWS))
    values = [statistic(sample) for sample in drawn if determined(sample)]
    low, high = np.quantile(values, [0.025, 0.975])
    return Estimate(
        value=statistic(rows), low=float(low), high=float(high), n=len(rows),
        method=f"{method}, bootstrap interval over subjects",
    )  # fmt: skip
