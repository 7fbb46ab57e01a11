"""What an automatic length may lack or have too much: branches that were not seen apart."""

import math
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path

MODEL = Path(__file__).with_name("unseen.toml")


def unseen_mm(*, branches: int) -> float:
    """Standard uncertainty of a length from branches that were not seen, or feigned.

    Root sum of squares of the terms, each times its fitted weight; see `terms_of`.
    """
    weights = fitted_weights()
    terms = terms_of(branches=branches)
    return math.hypot(*(weights[name] * value for name, value in terms.items()))


@cache
def fitted_weights() -> Mapping[str, float]:
    """The weights as fitted by `python -m benchmarks.fit_unseen`."""
    plain = tomllib.loads(MODEL.read_text(encoding="utf-8"))
    return {name: float(value) for name, value in plain["weights"].items()}


def terms_of(*, branches: int) -> dict[str, float]:
    """What the chance of an unseen part grows with; all in mm.

    "forks": 1 mm times the root of the number of branches, which err each by itself. Inside
    the main stroke nothing shows where a branch begins; a crack that branches has other
    branches, which run close to it or come back to it; and where many lines meet, some
    belong to another crack. The root described the errors better than the number itself,
    which had been better while eyes and short branches in a stroke were not seen.
    """
    return {"forks": math.sqrt(branches)}
