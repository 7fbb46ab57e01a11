"""Parts and designs on one load spectrum, compared criterion by criterion."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from damagescore.endurance.crossing import interpolated, lifetime_of
from damagescore.endurance.life import LifeRatio, NoRatio, life_ratio
from damagescore.endurance.record import Lifetime, Specimen
from damagescore.errors import UsageError
from damagescore.quantity import count_words


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLife:
    """When one part reached one criterion.

    `estimate` is the hour at which lines between the inspections reach it; None where they
    never do.
    """

    part: Specimen
    life: Lifetime
    estimate: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PairRatio:
    """Lives of two single parts: second over first, as far as the inspections tell.

    Parameters
    ----------
    first, second : str
    low : float
    high : float or None
        None where nothing bounds it from above.
    """

    first: str
    second: str
    low: float
    high: float | None

    @property
    def difference_shown(self) -> bool:
        return self.low > 1 or (self.high is not None and self.high < 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupRatio:
    """Lives of two groups: second over first."""

    first: str
    second: str
    ratio: LifeRatio | NoRatio


@dataclass(frozen=True, slots=True, kw_only=True)
class CriterionComparison:
    """All parts and groups at one criterion.

    `pairs` compare single parts of different groups, where no group has more than one part.
    """

    id: str
    label: str
    text: str
    invented: bool
    lives: tuple[PartLife, ...]
    groups: tuple[GroupRatio, ...]
    pairs: tuple[PairRatio, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The whole test."""

    title: str
    spectrum: str
    parts: tuple[Specimen, ...]
    criteria: tuple[CriterionComparison, ...]


def compare(parts: Iterable[Specimen], *, title: str = "", spectrum: str = "") -> Comparison:
    """Compare parts that ran on one load spectrum.

    Parameters
    ----------
    parts : iterable of Specimen
    title, spectrum : str
        As the user names them. That the loads were the same is the user's word.

    Raises
    ------
    UsageError
        When there are fewer than two parts, two have one name, or there is no criterion
        that all have.
    """
    given = tuple(parts)
    if len(given) < 2:
        raise UsageError(
            f"The test has {count_words(len(given), 'part')}.",
            remedy="A comparison needs two or more.",
        )
    names = [p.name for p in given]
    if len(set(names)) < len(names):
        raise UsageError("Two parts have the same name.", remedy="Give each its own.")
    shared = [s for s in given[0].series if _for_all(s.id, given)]
    if not shared:
        raise UsageError(
            "The parts have no criterion in common.",
            remedy="Compare them with one limit set.",
        )
    criteria = tuple(_of_criterion(s.id, given) for s in shared)
    return Comparison(title=title, spectrum=spectrum, parts=given, criteria=criteria)


def _for_all(name: str, parts: Sequence[Specimen]) -> bool:
    found = [p.series_named(name) for p in parts]
    return all(s is not None and s.limit is not None for s in found)


def _of_criterion(name: str, parts: Sequence[Specimen]) -> CriterionComparison:
    lives = tuple(_life(name, p) for p in parts)
    groups: dict[str, list[PartLife]] = {}
    for life in lives:
        groups.setdefault(life.part.group, []).append(life)
    single = all(len(g) == 1 for g in groups.values())
    series = parts[0].series_named(name)
    assert series is not None
    return CriterionComparison(
        id=name, label=series.label, text=series.text, invented=series.invented, lives=lives,
        groups=() if single else tuple(
            GroupRatio(
                first=a, second=b,
                ratio=life_ratio([x.life for x in groups[a]], [x.life for x in groups[b]]),
            )
            for a, b in combinations(groups, 2)
        ),
        pairs=tuple(_pair(a, b) for a, b in combinations(lives, 2)) if single else (),
    )  # fmt: skip


def _life(name: str, part: Specimen) -> PartLife:
    series = part.series_named(name)
    assert series is not None
    return PartLife(part=part, life=lifetime_of(series), estimate=interpolated(series))


def _pair(first: PartLife, second: PartLife) -> PairRatio:
    """Bounds of the ratio from the two intervals; nothing is said of other parts."""
    low = 0.0 if first.life.high is None else second.life.low / first.life.high
    high = None
    if second.life.high is not None and first.life.low > 0:
        high = second.life.high / first.life.low
    return PairRatio(first=first.part.name, second=second.part.name, low=low, high=high)
