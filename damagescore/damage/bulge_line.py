"""The line through all shims' ends, told from those that are seen, as well as each is."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from damagescore.ranks import median_slope

Points = NDArray[np.float64]

APART_MM, APART_SHIMS = 0.03, 3.0
"""How far the ends of sound shims usually stand apart (standard deviation), and how many
shims that counts as much as; 0.01 to 0.03 mm on the development photos."""

LEAST_APART_MM = 0.005
"""No ends stand nearer to one line than that."""

FOREIGN = 4.0
"""Standard deviations off the line beyond which an end is taken to be located wrongly."""

BENT = 4.0
"""Standard uncertainties of a bend from which on the ends lie on a parabola."""

CHI_SQUARE_MEDIAN = 0.4549
"""Median of chi square with one degree of freedom."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """Coefficients, highest power first, their covariance, and how far ends lie from it.

    `apart_mm` is how far true ends are taken to stand apart, `spread_mm` how far the located
    ones do (standard deviations).
    """

    terms: Points
    covariance: Points
    apart_mm: float
    spread_mm: float


def line_through(x: Points, y: Points, u: Points, level: Points) -> Line:
    """Least-squares line (or parabola) through all shims' ends as they are.

    That shims stand apart makes their line no less sure, but that not all are seen equally
    well does: each true end is predicted from where it was located and from the line of the
    others, by how sure either is (best linear unbiased prediction; how far ends stand apart
    is the variance between them after Paule and Mandel, J. Res. NBS 87 (1982) 377, by
    medians instead of means). So an end that is hidden turns nothing and one that is hardly
    seen turns little, and what they would have told is in the covariance.

    Parameters
    ----------
    x, y : ndarray, shape (K,)
        Place along and distance out of each end, mm.
    u : ndarray, shape (K,)
        Standard uncertainty of each distance, mm; infinite for an end that is hidden.
    level : ndarray, shape (K,)
        Further standard uncertainty, in which the ends of either half of the stack err
        alike: they mostly lie before the same background.
    """
    seen = np.isfinite(u)
    line = _fitted(x, y, u, level, degree=1)
    if seen.sum() >= 5:
        bent = _fitted(x, y, u, level, degree=2)
        sure = np.sqrt(bent.covariance[0, 0] + _u_bend(x[seen], bent.apart_mm) ** 2)
        if abs(bent.terms[0]) > BENT * sure:
            return bent
    return line


def _fitted(x: Points, y: Points, u: Points, level: Points, *, degree: int) -> Line:
    seen = np.isfinite(u)
    design = np.vander(x, degree + 1)
    each = np.hypot(np.where(seen, u, 1e3), level)
    known = np.where(seen, y, 0.0)
    terms = _robust_terms(x[seen], y[seen], degree)
    for _ in range(5):
        off = (known - design @ terms)[seen]
        apart = _apart_mm(off, each[seen], free=int(seen.sum()) - degree - 1)
        wide = np.hypot(apart, each)
        # What lies further off than shims do was located wrongly by about that much.
        wide[seen] = np.maximum(wide[seen], np.where(np.abs(off) > FOREIGN * wide[seen],
                                                     np.abs(off), 0.0))  # fmt: skip
        solve = _solve(design, wide)
        terms = solve @ known
    own = (apart / wide) ** 2
    ends = design @ solve + own[:, None] * (np.eye(len(x)) - design @ solve)
    alike = np.linalg.pinv(design)
    way = alike @ ends
    error = np.maximum(wide**2 - apart**2 - level**2, 0.0)
    left_out = way - alike
    covariance = way @ np.diag(error) @ way.T + apart**2 * left_out @ left_out.T
    for half in (x < np.median(x), x >= np.median(x)):
        shared = way @ (level * half)
        covariance += np.outer(shared, shared)
    terms = way @ known
    weight = 1.0 / wide[seen] ** 2
    square = float(weight @ (known - design @ terms)[seen] ** 2 / weight.sum())
    free = max(int(seen.sum()) - degree - 1, 1)
    return Line(
        terms=terms,
        covariance=covariance,
        apart_mm=apart,
        spread_mm=float(np.sqrt(square * seen.sum() / free)),
    )


def _solve(design: Points, u: Points) -> Points:
    """Matrix that gives the coefficients of the weighted least-squares line."""
    weight = 1.0 / u**2
    weighed = design * weight[:, None]
    return np.asarray(np.linalg.pinv(design.T @ weighed) @ weighed.T)


def _robust_terms(x: Points, y: Points, degree: int) -> Points:
    """Coefficients by the median of the slopes between pairs, to start from."""
    slope = float(median_slope(x, y, least=1e-9))
    return np.array([0.0] * (degree - 1) + [slope, float(np.median(y - slope * x))])


def _apart_mm(off: Points, u: Points, *, free: int) -> float:
    """Standard deviation between ends (K,) off their line beyond what each may be off by.

    The variance at which the median of the squares over theirs is what it is for a normal
    distribution, averaged with the usual one as `APART_SHIMS` ends more would tell it.
    """
    share = max(free, 0) / len(off)
    usual = CHI_SQUARE_MEDIAN * max(share, 1e-9)
    low, high = LEAST_APART_MM**2, 1.0
    for _ in range(40):
        middle = np.sqrt(low * high)
        if np.median(off**2 / (middle + u**2)) > usual:
            low = middle
        else:
            high = middle
    square = (APART_SHIMS * APART_MM**2 + max(free, 0) * low) / (APART_SHIMS + max(free, 0))
    return float(np.sqrt(square))


def _u_bend(x: Points, apart_mm: float) -> float:
    """Standard deviation of a parabola's first coefficient by how ends stand apart."""
    design = np.vander(x, 3)
    return float(apart_mm * np.sqrt(np.linalg.inv(design.T @ design)[0, 0]))
