"""How likely a line is a real crack, from what the photo shows of it."""

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from damagescore.damage.evidence import Evidence

MODEL = Path(__file__).with_name("confidence.toml")

LEAST_CHANCE, MOST_CHANCE = 0.01, 0.99
"""What a photo shows is never certain to be a crack, nor certain to be none."""

TERMS: Mapping[str, Callable[[Evidence], float]] = {
    "darkness": lambda e: e.darkness,
    "darkness_over_noise": lambda e: math.log(max(e.darkness, 0.02) / max(e.noise, 0.01)),
    "response": lambda e: math.log(max(e.response, 1.0)),
    "saliency": lambda e: math.log(max(e.saliency, 1.0)),
    "length": lambda e: math.log(max(e.length_mm, 0.1)),
    "stands_out": lambda e: min(e.stands_out, 1.0),
    "bright_flank": lambda e: min(e.bright_flank, 0.6),
    "step": lambda e: min(e.step, 0.3),
    "pale_and_wide": lambda e: e.width_mm * max(0.0, 1 - e.darkness),
    "straight_inside": lambda e: e.straight * (1 - e.border_share) * math.log1p(e.length_mm),
    "on_border": lambda e: e.border_share,
    "noise": lambda e: min(e.noise, 0.3),
    "uneven": lambda e: 1 - max(0.0, e.weakest) / max(e.darkness, 0.05),
}
"""Terms of the sum by name; each is a plain function of the evidence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Term:
    """One term: (value - middle) / spread times its weight adds to the log odds."""

    middle: float
    spread: float
    weight: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """Logistic model: log odds = start + sum of the terms."""

    start: float
    terms: Mapping[str, Term]

    def chance(self, evidence: Evidence) -> float:
        """Chance that a line with this evidence is a crack or a bond gap, 0.01 to 0.99.

        Notes
        -----
        Logistic regression (Cox 1958, "The regression analysis of binary sequences", cited
        from memory). Holds for photos like those the weights were fitted on, which
        the model's file names; on other surfaces it ranks, but the share may differ.
        """
        return self.chance_of({name: TERMS[name](evidence) for name in self.terms})

    def chance_of(self, values: Mapping[str, float]) -> float:
        """The same from the values of the terms, by name."""
        odds = self.start + sum(
            t.weight * (values[name] - t.middle) / t.spread for name, t in self.terms.items()
        )
        chance = 1 / (1 + math.exp(-max(-30.0, min(30.0, odds))))
        return max(LEAST_CHANCE, min(MOST_CHANCE, chance))


@cache
def fitted_model() -> Model:
    """The model as fitted by `python -m benchmarks.fit_confidence`."""
    return read_model(MODEL)


def read_model(path: Path) -> Model:
    """A model as a command under `benchmarks` has written it."""
    plain = tomllib.loads(path.read_text(encoding="utf-8"))
    terms = {name: Term(**numbers) for name, numbers in plain["terms"].items()}
    return Model(start=plain["start"], terms=terms)


def least_chance(sensitivity: float) -> float:
    """The chance from which a line is proposed: 0.5 in the middle of the control.

    0.95 at sensitivity 0, 0.05 at sensitivity 1, even in log odds between.
    """
    return 1 / (1 + math.exp((2 * sensitivity - 1) * math.log(19)))
