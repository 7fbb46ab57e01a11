"""Blind practice: sets by difficulty, answers, feedback, and a record over time.

The agreed findings of an entry never leave this room before an answer is committed: a page
shows an `Exercise`, which does not hold them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from damagescore.damage.record import Finding
from damagescore.errors import TrainingError
from damagescore.training.compare import Comparison, compare
from damagescore.training.library import CALLS, Call, Entry, size_of
from damagescore.training.scale import GradeScale

Band = Literal["easy", "medium", "hard"]
BANDS: Mapping[Band, tuple[float, float]] = {
    "easy": (0.0, 0.34), "medium": (0.34, 0.67), "hard": (0.67, 1.01),
}  # fmt: skip

EASY_PX, HARD_PX = 200.0, 40.0
"""Sizes of the least visible finding in photo pixels that count as easy and as hard to see."""

KNOWN_AFTER = 5
"""Answers after which what trainees got wrong counts as much as how the photo looks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """What a trainee is shown: the photo, and nothing that was agreed about it.

    `measurement` has scale and layers only; `asks_call` says that limits were compared.
    """

    entry_id: str
    entry_version: int
    photo_sha256: str
    width: int
    height: int
    measurement: Mapping[str, Any]
    asks_call: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a trainee committed, for good.

    Parameters
    ----------
    trainee, entry_id : str
    entry_version : int
    started_at, committed_at : str
        ISO 8601, UTC.
    grade : int or None
        On the library's scale; None where only limits were judged.
    call : str or None
    drawn : tuple of Finding
    """

    trainee: str
    entry_id: str
    entry_version: int
    started_at: str
    committed_at: str
    grade: int | None
    call: Call | None
    drawn: tuple[Finding, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        plain = {name: getattr(self, name) for name in self.__slots__}
        plain["drawn"] = [f.to_dict() for f in self.drawn]
        return plain

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> "Answer":
        """Read back what `to_dict` wrote."""
        return cls(**{**plain, "drawn": tuple(Finding.from_dict(f) for f in plain["drawn"])})


@dataclass(frozen=True, slots=True, kw_only=True)
class Feedback:
    """An answer against the agreed one.

    Parameters
    ----------
    comparison : Comparison
    grade_off : int or None
        Given minus agreed grade; None when no grade was asked.
    call_right : bool or None
        None when no call was asked, or the library has none.
    """

    comparison: Comparison
    grade_off: int | None
    call_right: bool | None

    @property
    def right(self) -> bool:
        """Whether nothing was missed, added or judged wrongly."""
        return (
            not self.comparison.missed
            and not self.comparison.extra
            and not self.grade_off
            and self.call_right is not False
        )


def exercise_of(entry: Entry) -> Exercise:
    """Return what may be shown of an entry before the answer is committed."""
    return Exercise(
        entry_id=entry.id, entry_version=entry.version, photo_sha256=entry.photo_sha256,
        width=entry.width, height=entry.height, measurement=entry.measurement,
        asks_call=entry.call is not None,
    )  # fmt: skip


def feedback_on(answer: Answer, entry: Entry, scale: GradeScale) -> Feedback:
    """Compare a committed answer with the version of the entry that it was given on.

    Raises
    ------
    TrainingError
        When the answer belongs to another entry or version, says nothing, or has a grade
        or call that does not exist.
    """
    if (answer.entry_id, answer.entry_version) != (entry.id, entry.version):
        raise TrainingError(
            f"The answer is to {answer.entry_id} version {answer.entry_version}, not to "
            f"{entry.id} version {entry.version}.",
            remedy="Compare it with that version.",
        )
    if answer.grade is None and answer.call is None:
        raise TrainingError(
            "The answer has neither a grade nor a call.", remedy="Give one of the two."
        )
    if answer.call is not None and answer.call not in CALLS:
        raise TrainingError(
            f"{answer.call!r} is no call.", remedy=f"Use one of {', '.join(CALLS)}."
        )
    off = None if answer.grade is None else scale.step(answer.grade).grade - entry.grade
    known = entry.call is not None and answer.call is not None
    return Feedback(
        comparison=compare(answer.drawn, entry),
        grade_off=off,
        call_right=answer.call == entry.call if known else None,
    )


def difficulty(
    entry: Entry, scale: GradeScale, *, right: Sequence[bool] = (), seen_px: float | None = None
) -> float:
    """How hard a photo is to judge, 0 to 1: our own mean of what makes it so.

    Parameters
    ----------
    entry : Entry
    scale : GradeScale
        The usage counts as hard to grade near a boundary of the scale.
    right : sequence of bool
        Whether earlier answers to this entry were right; counted from `KNOWN_AFTER` on.
    seen_px : float, optional
        Size of the least visible finding in pixels; worked out when not given.
    """
    size = _least_px(entry) if seen_px is None else seen_px
    small = float(np.clip((EASY_PX - size) / (EASY_PX - HARD_PX), 0, 1))
    many = min(len(entry.findings) / 8, 1.0)
    looks = np.mean([small, many, _nearness(entry, scale)])
    if len(right) < KNOWN_AFTER:
        return float(looks)
    return float((looks + 1 - np.mean(right)) / 2)


def _least_px(entry: Entry) -> float:
    """Smallest finding as a length in pixels: a line's length, the root of an area."""
    lengths = []
    for finding in entry.findings:
        size = size_of(finding)
        if size is not None:
            length_mm = np.sqrt(size) if finding.kind == "crumbling" else size
            lengths.append(float(length_mm) / entry.mm_per_px)
    return min(lengths, default=EASY_PX)


def _nearness(entry: Entry, scale: GradeScale) -> float:
    """1 on a boundary of the scale, 0 when a tenth of the limit or more away."""
    if entry.usage is None:
        return 0.0
    edges = [s.up_to_usage for s in scale.steps if s.up_to_usage is not None and s.up_to_usage]
    away = min((abs(entry.usage - edge) for edge in edges), default=1.0)
    return max(0.0, 1 - away / 0.1)


def draw_set(
    entries: Sequence[Entry],
    difficulties: Mapping[str, float],
    *,
    count: int,
    band: Band | None,
    seed: int,
    seen: Sequence[str] = (),
) -> tuple[Exercise, ...]:
    """Draw photos to practise on, those not seen before first.

    Parameters
    ----------
    entries : sequence of Entry
        Newest versions.
    difficulties : mapping of str to float
        By entry id.
    count : int
    band : "easy", "medium", "hard" or None
        None mixes all.
    seed : int
        The same seed draws the same set.
    seen : sequence of str
        Ids of entries that the trainee answered before.

    Raises
    ------
    TrainingError
        When the library has no photo of that difficulty.
    """
    low, high = BANDS[band] if band else (0.0, 1.01)
    fitting = [e for e in entries if low <= difficulties[e.id] < high]
    if not fitting:
        raise TrainingError(
            f"The library has no photo that counts as {band or 'any'} among {len(entries)}.",
            remedy="Choose another difficulty, or add photos to the library.",
        )
    order = np.random.default_rng(seed).permutation(len(fitting))
    drawn = sorted((fitting[k] for k in order), key=lambda e: e.id in set(seen))
    return tuple(exercise_of(e) for e in drawn[:count])


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """A trainee's answers over time, oldest first.

    Parameters
    ----------
    trainee : str
    committed_at : tuple of str
    feedback : tuple of Feedback
    """

    trainee: str
    committed_at: tuple[str, ...]
    feedback: tuple[Feedback, ...]

    @property
    def missed(self) -> int:
        return sum(len(f.comparison.missed) for f in self.feedback)

    @property
    def extra(self) -> int:
        return sum(len(f.comparison.extra) for f in self.feedback)

    @property
    def found(self) -> int:
        return sum(len(f.comparison.matches) for f in self.feedback)

    @property
    def grades_off(self) -> tuple[int, ...]:
        return tuple(f.grade_off for f in self.feedback if f.grade_off is not None)

    @property
    def calls_right(self) -> tuple[bool, ...]:
        return tuple(f.call_right for f in self.feedback if f.call_right is not None)

    @property
    def size_errors_percent(self) -> tuple[float, ...]:
        return tuple(
            m.size_error_percent
            for f in self.feedback
            for m in f.comparison.matches
            if m.size_error_percent is not None
        )


def progress_of(
    trainee: str,
    answers: Sequence[Answer],
    entries: Mapping[tuple[str, int], Entry],
    scales: Mapping[tuple[str, int], GradeScale],
) -> Progress:
    """Judge all answers of one trainee, each by the version that it was given on.

    Parameters
    ----------
    trainee : str
    answers : sequence of Answer
        Of anybody; others are left out.
    entries : mapping of (id, version) to Entry
    scales : mapping of (name, version) to GradeScale
    """
    own = sorted((a for a in answers if a.trainee == trainee), key=lambda a: a.committed_at)
    judged = []
    for answer in own:
        entry = entries[answer.entry_id, answer.entry_version]
        judged.append(feedback_on(answer, entry, scales[entry.scale_name, entry.scale_version]))
    return Progress(
        trainee=trainee,
        committed_at=tuple(a.committed_at for a in own),
        feedback=tuple(judged),
    )
