"""Where two lines probably continue one another beyond a hair, a chalk mark or a glare spot."""

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from damagescore.damage.centreline import resample
from damagescore.damage.confidence import LEAST_CHANCE as LEAST_SURE
from damagescore.damage.confidence import MOST_CHANCE as MOST_SURE
from damagescore.damage.confidence import Model, read_model
from damagescore.damage.links import Link
from damagescore.damage.record import Finding
from damagescore.damage.surround import Surround, surround_of
from damagescore.damage.tips import line_contrast
from damagescore.edge.record import Edge
from damagescore.photo.along import run_of
from damagescore.photo.record import Photo
from damagescore.scale.record import Scale

Points = NDArray[np.float64]

MODEL = Path(__file__).with_name("gaps.toml")

MOST_GAP_MM = 2.5
"""Longest way that is suggested: a chalk mark drawn across."""

LEAST_LINE_MM = 0.8
"""Shorter lines have no direction of their own."""

CONE = math.cos(math.radians(45))
"""Both lines must point at each other within this."""

LONGEST = 1.5
"""Times the distance of the tips that the way between them may be long."""

SUGGESTED = 0.5
"""What is less likely is not suggested."""

COVERED = -0.12
"""Relative darkness from which something bright lies there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A line network in the photo that may go on: a finding, or one too faint to be one.

    `lines` are photo pixels, main path first; `name` is the finding's id or None.
    """

    name: str | None
    layer: int | None
    chance: float
    lines: tuple[Points, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """What the photo shows between the tips of two pieces.

    Parameters
    ----------
    gap_mm : float
        Length of the way between the tips.
    bend : float
        Sum of the turns at both tips, radians.
    covered : float
        Share of the way on which something bright or unjudged lies.
    alike : float
        Contrast of the paler line over that of the darker one.
    chance : float
        Chance that the less likely piece is a crack at all.
    """

    gap_mm: float
    bend: float
    covered: float
    alike: float
    chance: float


TERMS: Mapping[str, Callable[[Crossing], float]] = {
    "gap": lambda c: math.log(max(c.gap_mm, 0.05)),
    "bend": lambda c: c.bend,
    "covered": lambda c: c.covered,
    "alike": lambda c: c.alike,
    "chance": lambda c: math.log(c.chance / (1 - c.chance)),
}
"""Terms of the sum by name; each is a plain function of what is seen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """A free end of a line: the line, its tip first, and the direction onward."""

    piece: Piece
    number: int
    line: Points
    onward: Points

    @property
    def tip(self) -> Points:
        return np.asarray(self.line[0])


def suggested_links(
    photo: Photo, edge: Edge, scale: Scale, pieces: Sequence[Piece]
) -> tuple[Link, ...]:
    """Pairs of lines that are more likely one crack than two.

    Parameters
    ----------
    photo : Photo
    edge : Edge
    scale : Scale
    pieces : sequence of Piece
        Findings (with a name) first; two nameless pieces are never linked.

    Returns
    -------
    tuple of Link
        Likeliest first; each tip has one link at most, and so have two pieces.

    Notes
    -----
    The chance is that of a logistic model fitted on rendered photos with strokes of chalk,
    lint and dust painted over true cracks (`python -m benchmarks.fit_gaps`).
    """
    model = fitted_model()
    seen = possible_gaps(photo, edge, scale, pieces)
    ranked = sorted(
        ((model.chance_of(values_of(c)), a, b, way) for a, b, way, c in seen),
        key=lambda x: -x[0],
    )
    taken: set[tuple[int, ...]] = set()
    links: list[Link] = []
    for chance, a, b, way in ranked:
        keys = {(id(a.piece), a.number, id(a.line)), (id(b.piece), b.number, id(b.line)),
                tuple(sorted((id(a.piece), id(b.piece))))}  # fmt: skip
        if chance < SUGGESTED or taken & keys:
            continue
        taken |= keys
        links.append(_link(a, b, way, scale, chance=chance, number=len(links) + 1))
    return tuple(links)


def pieces_from(findings: Iterable[Finding]) -> list[Piece]:
    """Findings with lines as pieces."""
    return [
        Piece(name=f.id, layer=f.layer, chance=_sure(f.strength), lines=f.lines_px)
        for f in findings
        if f.lines_px
    ]


def _sure(strength: float) -> float:
    """What a person traced has strength 1; in odds that is without end."""
    return min(max(strength, LEAST_SURE), MOST_SURE)


def near_a_tip(line: Points, pieces: Sequence[Piece], scale: Scale) -> bool:
    """Whether an end of a line lies within reach of a tip of one of the pieces."""
    reach = (MOST_GAP_MM + 0.5) / scale.mm_per_px
    tips = [x[k] for piece in pieces for x in piece.lines for k in (0, -1)]
    return any(float(np.hypot(*(line[k] - tip))) <= reach for tip in tips for k in (0, -1))


def _link(a: End, b: End, way: Points, scale: Scale, *, chance: float, number: int) -> Link:
    if a.piece.name is None:
        a, b, way = b, a, way[::-1]
    assert a.piece.name is not None
    return Link(
        id=f"link-{number}", first=a.piece.name, second=b.piece.name, line_px=way,
        beyond_px=() if b.piece.name is not None else b.piece.lines,
        gap_mm=scale.surface.length_mm(way), chance=chance,
    )  # fmt: skip


def values_of(crossing: Crossing) -> dict[str, float]:
    """The model's terms of what is seen."""
    return {name: term(crossing) for name, term in TERMS.items()}


@cache
def fitted_model() -> Model:
    """The model as fitted by `python -m benchmarks.fit_gaps`."""
    return read_model(MODEL)


def possible_gaps(
    photo: Photo, edge: Edge, scale: Scale, pieces: Sequence[Piece]
) -> Iterator[tuple[End, End, Points, Crossing]]:
    """Tips that point at each other within reach, with the way between and what is seen."""
    mm_per_px = scale.mm_per_px
    ends = [e for piece in pieces for e in _ends(piece, mm_per_px)]
    for a, b in combinations(ends, 2):
        if a.piece is b.piece or a.piece.layer != b.piece.layer:
            continue
        # A branch goes on into a main path; two branches would make a net.
        if (a.number and b.number) or (a.piece.name is None and b.piece.name is None):
            continue
        way = _way(a, b, MOST_GAP_MM / mm_per_px)
        if way is not None:
            yield a, b, way, _crossing(photo, edge, scale, a, b, way)


def _ends(piece: Piece, mm_per_px: float) -> Iterator[End]:
    """Both ends of the main path and the far ends of branches."""
    for number, line in enumerate(piece.lines):
        if len(line) < 3 or run_of(line)[-1] * mm_per_px < LEAST_LINE_MM:
            continue
        for ahead in (line, line[::-1]) if number == 0 else (line[::-1],):
            others = [x for k, x in enumerate(piece.lines) if k != number]
            if any(np.min(np.hypot(*(x - ahead[0]).T)) < 1.0 for x in others):
                continue  # it lies on another line of its own
            yield End(piece=piece, number=number, line=ahead, onward=_onward(ahead, mm_per_px))


def _onward(line: Points, mm_per_px: float) -> Points:
    """Unit direction beyond the first point, from the last 0.8 mm before it."""
    along = run_of(line) * mm_per_px
    back = line[np.searchsorted(along, LEAST_LINE_MM) - 1 :][:1]
    aim = line[0] - back[0]
    return np.asarray(aim / max(float(np.hypot(*aim)), 1e-9))


def _way(a: End, b: End, most_px: float) -> Points | None:
    """A smooth course from tip to tip (cubic Hermite); None where they do not face."""
    chord = b.tip - a.tip
    gap = float(np.hypot(*chord))
    if not 0 < gap <= most_px or min(a.onward @ chord, -b.onward @ chord) < CONE * gap:
        return None
    t = np.linspace(0, 1, max(3, math.ceil(gap / 3) + 1))[:, None]
    way = (
        (2 * t**3 - 3 * t**2 + 1) * a.tip + (t**3 - 2 * t**2 + t) * gap * a.onward
        + (3 * t**2 - 2 * t**3) * b.tip - (t**3 - t**2) * gap * b.onward
    )  # fmt: skip
    return way if run_of(way)[-1] <= LONGEST * gap else None


def _crossing(photo: Photo, edge: Edge, scale: Scale, a: End, b: End, way: Points) -> Crossing:
    mm_per_px = scale.mm_per_px
    step = max(1.0, 0.04 / mm_per_px)
    tails = [_tail(e.line, step, 2.0 / mm_per_px) for e in (a, b)]
    course = resample(way, step_px=step)
    around = surround_of(
        photo.grey, np.vstack([*tails, course]), edge.judged, px_per_mm=1 / mm_per_px
    )
    levels = [_contrast(around, tail) for tail in tails]
    paler, darker = min(levels), max(levels)
    chord = b.tip - a.tip
    gap = float(np.hypot(*chord))
    turns = (math.acos(min(1.0, float(x @ chord) / gap)) for x in (a.onward, -b.onward))
    return Crossing(
        gap_mm=run_of(way)[-1] * mm_per_px,
        bend=sum(turns),
        covered=float(np.mean(_darkness(around, course) < COVERED)),
        alike=max(0.0, paler) / max(darker, 0.02),
        chance=min(a.piece.chance, b.piece.chance),
    )


def _tail(line: Points, step_px: float, length_px: float) -> Points:
    """The part of a line next to its tip."""
    kept = max(2, int(np.sum(run_of(line) <= length_px)))
    return resample(line[:kept], step_px=step_px)


def _darkness(around: Surround, line: Points) -> Points:
    height, width = around.dark.shape
    x, y = np.round(line - around.corner).astype(int).T
    return np.asarray(around.dark[y.clip(0, height - 1), x.clip(0, width - 1)])


def _contrast(around: Surround, line: Points) -> float:
    return float(np.median(line_contrast(around, line))) if len(line) > 2 else 0.0
