"""Weights of the evidence for crumbled rubber, fitted on the development photos.

Logistic regression on pixels within 1.5 mm of true borders of 35 patches, every photo counted
alike. On development photos left out of the fit the median overlap with the truth was 0.84 to
0.86. The offset was then lowered by 0.3, for areas came out 3 % large. Order: that of `CLUES`,
of `CORE_CLUES` and of `RELATIVE_CLUES` in `crumbling_evidence`.
"""

CLUE_WEIGHTS = (
    0.444, -0.026, 0.090, 0.228, -0.232, -0.036,
    0.377, 0.130, -0.121, 0.854, -0.020, -0.237,
    0.336, 0.489, 3.826, 1.818, -1.862, 1.540,
    -0.439, 0.138, 0.305, -0.005, -0.082, -3.290,
)  # fmt: skip

CORE_WEIGHTS = (-0.465, -2.082)

RELATIVE_WEIGHTS = (1.017, 0.055, 0.273, 2.009, 0.720, -0.681)

OFFSET = -0.616

SEED_WEIGHTS = (8.49, 0.74, 1.49, -0.28, 0.42)
"""Of "darker", "even 0.4", "even 1.0", "dark even 0.4" and "dark even 1.0"."""

SEED_OFFSET = -6.58
