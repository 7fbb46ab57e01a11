"""The scale of grades that an organisation defines, with its boundaries in limit usage."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from damagescore.errors import TrainingError


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One grade of a scale.

    Parameters
    ----------
    grade : int
    label : str
        A few words of the organisation's own.
    up_to_usage : float or None
        Largest usage of a limit (1 is at the limit) that still has this grade; None for the
        last step.
    picture_sha256 : str
        Photo of the library that shows the step; empty when there is none.
    """

    grade: int
    label: str
    up_to_usage: float | None
    picture_sha256: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class GradeScale:
    """Steps from sound to beyond the limit, in rising order.

    Raises
    ------
    TrainingError
        When the steps do not rise or the last one is not open.
    """

    name: str
    version: int
    steps: tuple[Step, ...]

    def __post_init__(self) -> None:
        _check(self)

    @property
    def grades(self) -> tuple[int, ...]:
        return tuple(step.grade for step in self.steps)

    def grade_of(self, usage: float) -> int:
        """Return the grade of a usage of a limit; the boundary belongs to the better grade."""
        return next(
            step.grade
            for step in self.steps
            if step.up_to_usage is None or usage <= step.up_to_usage
        )

    def step(self, grade: int) -> Step:
        """Return the step of a grade.

        Raises
        ------
        TrainingError
            When the scale has no such grade.
        """
        for step in self.steps:
            if step.grade == grade:
                return step
        raise TrainingError(
            f"The scale {self.name!r} has no grade {grade}.",
            remedy=f"Use one of {', '.join(str(g) for g in self.grades)}.",
        )

    def to_dict(self) -> dict[str, Any]:
        return {
            "name": self.name,
            "version": self.version,
            "steps": [
                {
                    "grade": s.grade, "label": s.label, "up_to_usage": s.up_to_usage,
                    "picture_sha256": s.picture_sha256,
                }
                for s in self.steps
            ],
        }  # fmt: skip

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "GradeScale":
        """Read back what `to_dict` wrote."""
        return cls(
            name=plain["name"],
            version=plain["version"],
            steps=tuple(Step(**step) for step in plain["steps"]),
        )


def _check(scale: GradeScale) -> None:
    if len(scale.steps) < 2:
        raise TrainingError(
            f"The scale {scale.name!r} has {len(scale.steps)} steps.",
            remedy="Give two or more.",
        )
    grades = [step.grade for step in scale.steps]
    edges = [step.up_to_usage for step in scale.steps]
    inner = [edge for edge in edges[:-1] if edge is not None]
    rising = all(a < b for a, b in [*pairwise(grades), *pairwise(inner)])
    if not rising or edges[-1] is not None or len(inner) < len(edges) - 1 or inner[0] < 0:
        shown = ", ".join(f"{s.grade}: {s.up_to_usage}" for s in scale.steps)
        raise TrainingError(
            f"The boundaries of the scale {scale.name!r} do not rise: {shown}.",
            remedy="Give each step but the last a larger usage than the one before, the "
            "last none.",
        )


DEFAULT_SCALE = GradeScale(
    name="0 to 5 by use of the limit",
    version=1,
    steps=(
        Step(grade=0, label="nothing found", up_to_usage=0.0),
        Step(grade=1, label="up to a quarter of the limit", up_to_usage=0.25),
        Step(grade=2, label="up to half of the limit", up_to_usage=0.5),
        Step(grade=3, label="up to three quarters of the limit", up_to_usage=0.75),
        Step(grade=4, label="up to the limit", up_to_usage=1.0),
        Step(grade=5, label="beyond the limit", up_to_usage=None),
    ),
)
"""Our own default; an organisation defines another."""
