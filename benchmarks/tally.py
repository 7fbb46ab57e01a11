"""Figures gathered over a set of photos, and the table that shows them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from damagescore.limits import decide
from damagescore.quantity import Measured

DENSITY_CLASSES = ((0.0, 25.0, "below 25"), (25.0, 35.0, "25 to 35"), (35.0, 1e9, "above 35"))
"""Classes of magnification, px/mm."""

LIMITS = (0.5, 0.7, 0.85, 0.95, 1.05, 1.2, 1.5, 2.0)
"""Limits that each measured value is tried against, as multiples of its true value."""

SPREAD = tuple(float(x) for x in np.geomspace(0.25, 4.0, 32))
"""Limits as parts in every state meet them, from a quarter to four times the true value."""

IN_MM = frozenset({"bulge peak", "bulge peak, bulging layers"})
"""Quantities whose error is told in mm, not as a share of the true value."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One measured quantity beside its true value; `px_per_mm` where it was measured."""

    measured: Measured
    true: float
    px_per_mm: float

    @property
    def error(self) -> float:
        return self.measured.value - self.true

    @property
    def inside(self) -> bool:
        """Whether the 95 % interval holds the true value."""
        return abs(self.error) <= 1.96 * self.measured.u


@dataclass(slots=True)
class Tally:
    """Figures gathered over all photos."""

    photos: int = 0
    good_refused: int = 0
    bad_passed: int = 0
    bad: int = 0
    layers_right: int = 0
    layers_asked: int = 0
    found_mm: float = 0.0
    present_mm: float = 0.0
    wide_found_mm: float = 0.0
    wide_present_mm: float = 0.0
    false_cracks: int = 0
    kinds_right: int = 0
    kinds_asked: int = 0
    false_areas: int = 0
    false_on_sound: int = 0
    sound_photos: int = 0
    face_photos: int = 0
    profile_layers_missed: int = 0
    traces_refused: int = 0
    traces_helped: int = 0
    overlaps: list[float] = field(default_factory=list)
    warnings: dict[str, int] = field(default_factory=dict)
    trials: dict[str, list[Trial]] = field(default_factory=dict)

    def add(self, name: str, measured: Measured, true: float, *, px_per_mm: float) -> Trial:
        trial = Trial(measured=measured, true=true, px_per_mm=px_per_mm)
        self.trials.setdefault(name, []).append(trial)
        return trial

    def warn(self, names: Iterable[str]) -> None:
        for name in names:
            self.warnings[name] = self.warnings.get(name, 0) + 1


def report(tally: Tally) -> str:
    """All tables."""
    parts = [
        _table(("figure", "value"), _counts(tally)),
        _table(("quantity", "n", "error: median", "p90", "p95", "inside 95 %"), _errors(tally)),
        _table(("inside 95 %", *(f"{c[2]} px/mm" for c in DENSITY_CLASSES)), _classes(tally)),
        _table(
            ("decision against 8 limits each", "beyond, called within", "borderline",
             "inside, called exceeded", "borderline, limits spread"), _decisions(tally.trials),
        ),
    ]  # fmt: skip
    if tally.warnings:
        counts = sorted(tally.warnings.items(), key=lambda x: -x[1])
        parts.append("Warnings on good photos: " + ", ".join(f"{n} {k}" for n, k in counts))
    return "\n\n".join(parts)


def _table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    lines = [head, tuple("---" for _ in head), *rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def _counts(tally: Tally) -> list[tuple[str, str]]:
    overlap = f"median {np.median(tally.overlaps):.3f}" if tally.overlaps else "none present"
    return [
        ("photos", f"{tally.photos}"),
        ("good photos refused", f"{tally.good_refused} of {tally.photos - tally.bad}"),
        ("bad photos neither warned nor refused", f"{tally.bad_passed} of {tally.bad}"),
        ("layer count right", f"{tally.layers_right} of {tally.layers_asked}"),
        ("recall by length, cracks 3 px wide and more",
         _percent(tally.wide_found_mm, tally.wide_present_mm)),
        ("recall by length, all cracks", _percent(tally.found_mm, tally.present_mm)),
        ("cracks and bond gaps told apart", f"{tally.kinds_right} of {tally.kinds_asked}"),
        ("false cracks a face photo", _ratio(tally.false_cracks, tally.face_photos)),
        ("false crumbled areas a face photo", _ratio(tally.false_areas, tally.face_photos)),
        ("false findings on sound parts",
         f"{tally.false_on_sound} on {tally.sound_photos} photos"),
        ("overlap of crumbled areas", overlap),
        ("layers of profile views not measured", f"{tally.profile_layers_missed}"),
        ("traces refused", f"{tally.traces_refused}"),
        ("traces with a click more than at their ends", f"{tally.traces_helped}"),
    ]  # fmt: skip


def _errors(tally: Tally) -> list[tuple[str, ...]]:
    rows = []
    for name, trials in tally.trials.items():
        in_mm = name in IN_MM
        errors = np.array([abs(t.error) / (1.0 if in_mm else t.true) for t in trials])
        levels = np.percentile(errors, [50, 90, 95])
        shown = [f"{x:.3f} mm" if in_mm else f"{100 * x:.2f} %" for x in levels]
        rows.append((name, f"{len(trials)}", *shown, _inside(trials)))
    return rows


def _classes(tally: Tally) -> list[tuple[str, ...]]:
    return [
        (name, *(_inside([t for t in trials if low <= t.px_per_mm < high])
                 for low, high, _ in DENSITY_CLASSES))
        for name, trials in tally.trials.items()
    ]  # fmt: skip


def _decisions(trials: Mapping[str, list[Trial]]) -> list[tuple[str, ...]]:
    """Try every value against limits around its true value, by the default rule."""
    rows = []
    for name, measured in trials.items():
        if name == "scale":
            continue
        outcomes = _outcomes(measured, LIMITS)
        wrongly_within = sum(beyond and o == "within" for beyond, o in outcomes)
        wrongly_exceeded = sum(not beyond and o == "exceeded" for beyond, o in outcomes)
        beyond_limit = sum(beyond for beyond, _ in outcomes)
        rows.append((
            name, f"{wrongly_within} of {beyond_limit}", _borderline(outcomes),
            f"{wrongly_exceeded} of {len(outcomes) - beyond_limit}",
            _borderline(_outcomes(measured, SPREAD)),
        ))  # fmt: skip
    return rows


def _outcomes(trials: Iterable[Trial], factors: Iterable[float]) -> list[tuple[bool, str]]:
    """Whether each value lies beyond each limit, and what is called of it."""
    return [
        (factor < 1, decide(t.measured, factor * t.true).outcome)
        for t in trials
        if t.true > 0  # a sound layer may stand back; there is no limit to set beside it
        for factor in factors
    ]


def _borderline(outcomes: list[tuple[bool, str]]) -> str:
    return _percent(sum(o == "borderline" for _, o in outcomes), len(outcomes))


def _inside(trials: list[Trial]) -> str:
    if not trials:
        return "none"
    return f"{100 * np.mean([t.inside for t in trials]):.0f} % of {len(trials)}"


def _percent(part: float, whole: float) -> str:
    return f"{100 * part / whole:.1f} %" if whole else "none present"


def _ratio(part: float, whole: float) -> str:
    return f"{part / whole:.2f}" if whole else "no photo"
