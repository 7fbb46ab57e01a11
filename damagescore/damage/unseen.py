"""What an automatic length may lack or have too much: branches, ends in a border's shade."""

import math
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path

MODEL = Path(__file__).with_name("unseen.toml")


def unseen_mm(*, branches: int, border_mm: float) -> float:
    """Standard uncertainty of a length from branches and ends that were not seen.

    Root sum of squares of the terms, each times its fitted weight; see `terms_of`.
    """
    weights = fitted_weights()
    terms = terms_of(branches=branches, border_mm=border_mm)
    return math.hypot(*(weights[name] * value for name, value in terms.items()))


@cache
def fitted_weights() -> Mapping[str, float]:
    """The weights as fitted by `python -m benchmarks.fit_unseen`."""
    plain = tomllib.loads(MODEL.read_text(encoding="utf-8"))
    return {name: float(value) for name, value in plain["weights"].items()}


def terms_of(*, branches: int, border_mm: float) -> dict[str, float]:
    """What the chance of an unseen part grows with; all in mm.

    "forks": the square root of the number of branches. Inside the main stroke nothing
    shows where a branch begins; and a crack that branches has other branches, which run
    close to it or come back to it, and are taken for a part of its stroke.

    "border": the uncertainty of the ends of a bond gap (0 for a crack), once more. On the
    border of a layer its shade hides or feigns a faint gap, and more so than the
    grain of open rubber does.
    """
    return {"forks": math.sqrt(branches), "border": border_mm}
