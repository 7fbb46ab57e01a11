"""Repeatability and reproducibility of measuring, from a crossed study.

Every inspector measures every part the same number of times. The scatter is split by
analysis of variance into that of the parts, of the inspectors, of their interaction and of
repeating (AIAG, Measurement Systems Analysis, 4th ed., 2010, chapter III, ANOVA method).
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from damagescore.errors import StudyError

POOL_ABOVE = 0.25
"""An interaction whose p value is larger is counted as repeating (common practice)."""

CATEGORIES = 1.41
"""Width of a 97 % interval of the measuring in units of its scatter, as the manual has it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row of the analysis of variance; `f` and `p` are None where nothing is tested."""

    source: str
    squares: float
    df: int
    f: float | None
    p: float | None

    @property
    def mean_square(self) -> float:
        return self.squares / self.df


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One source of scatter: its variance and its shares in per cent."""

    source: str
    variance: float
    contribution_percent: float
    study_variation_percent: float
    tolerance_percent: float | None

    @property
    def sigma(self) -> float:
        return math.sqrt(self.variance)


@dataclass(frozen=True, slots=True, kw_only=True)
class CrossedStudy:
    """A crossed study, analysed.

    Parameters
    ----------
    rows : tuple of Row
        "parts", "inspectors", "interaction", "repeats", "total".
    components : tuple of Component
        "repeatability", "reproducibility", "measuring" (both), "parts", "total".
    pooled : bool
        True when the interaction was counted as repeating.
    categories : int
        How many groups of parts the measuring can tell apart, at least 0.
    """

    rows: tuple[Row, ...]
    components: tuple[Component, ...]
    pooled: bool
    categories: int

    def of(self, source: str) -> Component:
        return next(c for c in self.components if c.source == source)

    def to_dict(self) -> dict[str, Any]:
        return {
            "rows": [
                {"source": r.source, "squares": r.squares, "df": r.df, "f": r.f, "p": r.p}
                for r in self.rows
            ],
            "components": [
                {
                    "source": c.source,
                    "sigma": c.sigma,
                    "contribution_percent": c.contribution_percent,
                    "study_variation_percent": c.study_variation_percent,
                    "tolerance_percent": c.tolerance_percent,
                }
                for c in self.components
            ],
            "pooled": self.pooled,
            "categories": self.categories,
        }


def analyse(
    values: NDArray[np.float64],
    *,
    tolerance: float | None = None,
    pool_above: float = POOL_ABOVE,
) -> CrossedStudy:
    """Split the scatter of a crossed study by analysis of variance.

    Parameters
    ----------
    values : ndarray, shape (P, I, R)
        P parts, I inspectors, R repeats of one quantity.
    tolerance : float, optional
        Width of what is allowed, in the unit of the values; for a limit on one side, the
        limit. Shares of it are 6 sigma over the tolerance.
    pool_above : float
        Count the interaction as repeating when its p value is larger.

    Returns
    -------
    CrossedStudy
        Negative variances are set to 0, as the manual does.

    Raises
    ------
    StudyError
        For fewer than two parts, inspectors or repeats, or a value that is missing.
    """
    _checked(values, tolerance)
    rows = _table(values)
    pooled = rows[2].p is not None and rows[2].p > pool_above
    variances = _variances(rows, values.shape, pooled=pooled)
    total = sum(variances)
    repeat, reproduce, parts = variances
    named = {
        "repeatability": repeat, "reproducibility": reproduce, "measuring": repeat + reproduce,
        "parts": parts, "total": total,
    }  # fmt: skip
    measuring = repeat + reproduce
    groups = math.inf if measuring == 0 else CATEGORIES * math.sqrt(parts / measuring)
    return CrossedStudy(
        rows=rows,
        components=tuple(_component(s, v, total, tolerance) for s, v in named.items()),
        pooled=pooled,
        # More than any manual asks for: where no scatter of measuring was seen.
        categories=int(min(groups, 999)),
    )


def _checked(values: NDArray[np.float64], tolerance: float | None) -> None:
    shape = values.shape
    if len(shape) != 3 or min(shape) < 2:
        seen = " x ".join(str(x) for x in shape)
        raise StudyError(
            f"The study has {seen} parts, inspectors and repeats.",
            remedy="It needs two of each at least; ten parts, three inspectors and two or "
            "three repeats are usual.",
        )
    missing = int(np.sum(~np.isfinite(values)))
    if missing:
        raise StudyError(
            f"{missing} of {values.size} values are missing.",
            remedy="Measure them, or leave out the part or the inspector.",
        )
    if np.ptp(values) == 0:
        raise StudyError(
            f"All {values.size} values are {values.flat[0]:g}.",
            remedy="Choose parts that differ, and write more digits.",
        )
    if tolerance is not None and not tolerance > 0:
        raise StudyError(
            f"The tolerance is {tolerance:g}.", remedy="Give a width above 0, or none."
        )


def _table(values: NDArray[np.float64]) -> tuple[Row, ...]:
    p, i, r = values.shape
    grand = values.mean()
    by_part, by_inspector = values.mean(axis=(1, 2)), values.mean(axis=(0, 2))
    cells = values.mean(axis=2)
    parts = i * r * float(np.sum((by_part - grand) ** 2))
    people = p * r * float(np.sum((by_inspector - grand) ** 2))
    both = r * float(np.sum((cells - by_part[:, None] - by_inspector[None, :] + grand) ** 2))
    repeats = float(np.sum((values - cells[:, :, None]) ** 2))
    df_both, df_repeats = (p - 1) * (i - 1), p * i * (r - 1)
    crossing, noise = (both, df_both), (repeats, df_repeats)
    return (
        _row("parts", parts, p - 1, against=crossing),
        _row("inspectors", people, i - 1, against=crossing),
        _row("interaction", both, df_both, against=noise),
        Row(source="repeats", squares=repeats, df=df_repeats, f=None, p=None),
        Row(source="total", squares=parts + people + both + repeats, df=p * i * r - 1,
            f=None, p=None),
    )  # fmt: skip


def _row(source: str, squares: float, df: int, *, against: tuple[float, int]) -> Row:
    noise = against[0] / against[1]
    if noise <= 0:
        return Row(source=source, squares=squares, df=df, f=None, p=None)
    f = squares / df / noise
    return Row(
        source=source, squares=squares, df=df, f=f, p=float(stats.f.sf(f, df, against[1]))
    )


def _variances(
    rows: tuple[Row, ...], shape: tuple[int, ...], *, pooled: bool
) -> tuple[float, float, float]:
    """Variances of repeating, of the inspectors with their interaction, and of the parts."""
    p, i, r = shape
    parts, people, crossing, repeats = rows[:4]
    noise = repeats.mean_square
    between = crossing.mean_square
    if pooled:
        noise = between = (crossing.squares + repeats.squares) / (crossing.df + repeats.df)
    interaction = max(0.0, (between - noise) / r)
    inspectors = max(0.0, (people.mean_square - between) / (p * r))
    return noise, inspectors + interaction, max(0.0, (parts.mean_square - between) / (i * r))


def _component(
    source: str, variance: float, total: float, tolerance: float | None
) -> Component:
    share = variance / total
    return Component(
        source=source,
        variance=variance,
        contribution_percent=100 * share,
        study_variation_percent=100 * math.sqrt(share),
        tolerance_percent=None if tolerance is None else 600 * math.sqrt(variance) / tolerance,
    )
