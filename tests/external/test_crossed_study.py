"""Repeatability and reproducibility against the worked example of the manual.

Source
------
AIAG, Measurement Systems Analysis, 4th edition (2010): 10 parts, 3 appraisers, 3 trials, the
table of the worked example; two independent public transcriptions of the data and of the
results of the ANOVA method agree digit for digit (seen 2026-11-25). The interaction's
unpooled variances were recomputed.

Tolerances: half of the last digit shown.
"""

import numpy as np
import pytest

from damagescore.capability.crossed import analyse

# fmt: off
# A row is a part: three trials each of appraisers A, B and C.
STUDY = np.array([
    [0.29, 0.41, 0.64, 0.08, 0.25, 0.07, 0.04, -0.11, -0.15],
    [-0.56, -0.68, -0.58, -0.47, -1.22, -0.68, -1.38, -1.13, -0.96],
    [1.34, 1.17, 1.27, 1.19, 0.94, 1.34, 0.88, 1.09, 0.67],
    [0.47, 0.5, 0.64, 0.01, 1.03, 0.2, 0.14, 0.2, 0.11],
    [-0.8, -0.92, -0.84, -0.56, -1.2, -1.28, -1.46, -1.07, -1.45],
    [0.02, -0.11, -0.21, -0.2, 0.22, 0.06, -0.29, -0.67, -0.49],
    [0.59, 0.75, 0.66, 0.47, 0.55, 0.83, 0.02, 0.01, 0.21],
    [-0.31, -0.2, -0.17, -0.63, 0.08, -0.34, -0.46, -0.56, -0.49],
    [2.26, 1.99, 2.01, 1.8, 2.12, 2.19, 1.77, 1.45, 1.87],
    [-1.36, -1.25, -1.31, -1.68, -1.62, -1.5, -1.49, -1.77, -2.16],
]).reshape(10, 3, 3)
# fmt: on


def test_table_of_the_analysis_of_variance() -> None:
    rows = {r.source: r for r in analyse(STUDY).rows}
    squares = [
        rows[s].squares for s in ("parts", "inspectors", "interaction", "repeats", "total")
    ]
    assert squares == pytest.approx(
        [88.3619, 3.1673, 0.3590, 2.7589, 94.6471], abs=5e-5
    )  # printed digits
    assert [r.df for r in rows.values()] == [9, 2, 18, 60, 89]
    assert rows["parts"].f == pytest.approx(492.291, abs=5e-4)  # printed digits
    assert rows["inspectors"].f == pytest.approx(79.406, abs=5e-4)  # printed digits
    assert (rows["interaction"].f, rows["interaction"].p) == pytest.approx(
        (0.434, 0.974), abs=5e-4
    )  # printed digits


def test_components_with_the_interaction_pooled() -> None:
    study = analyse(STUDY)
    assert study.pooled
    names = ("repeatability", "reproducibility", "measuring", "parts", "total")
    sigmas = [study.of(s).sigma for s in names]
    assert sigmas == pytest.approx(
        [0.199933, 0.226838, 0.302373, 1.042327, 1.0853], abs=5e-6
    )  # printed digits
    shares = [study.of(s).study_variation_percent for s in names[:4]]
    assert shares == pytest.approx([18.42, 20.90, 27.86, 96.04], abs=5e-3)  # printed digits
    parts = [study.of(s).contribution_percent for s in names[:4]]
    assert parts == pytest.approx([3.39, 4.37, 7.76, 92.24], abs=5e-3)  # printed digits
    assert study.categories == 4  # 4.861, cut off


def test_components_without_pooling() -> None:
    study = analyse(STUDY, pool_above=1.0)
    assert not study.pooled
    assert study.of("repeatability").sigma == pytest.approx(
        0.214435, abs=1e-6
    )  # printed digits
    # The interaction's variance comes out at -0.00868 and counts as 0.
    assert study.of("reproducibility").variance == pytest.approx(
        0.0521229, abs=1e-6
    )  # recomputed
    assert study.of("parts").variance == pytest.approx(1.0886721, abs=1e-6)  # recomputed


def test_share_of_the_tolerance() -> None:
    # Six sigma over the tolerance: 6 x 0.302373 / 8.
    share = analyse(STUDY, tolerance=8.0).of("measuring").tolerance_percent
    assert share == pytest.approx(22.678, abs=1e-3)  # from the printed sigma
