"""Charts of studies as SVG in the colours of the page."""

from collections.abc import Callable, Iterable, Sequence
from html import escape

import numpy as np

from damagescore.capability.crossed import CrossedStudy
from damagescore.capability.csv_tables import CrossedTable
from damagescore.capability.curve import Curve
from damagescore.capability.detection import Site
from damagescore.capability.numbers import Difference
from damagescore.chart.axes import ticks

WIDTH, HEIGHT = 640, 300
LEFT, RIGHT, TOP, BOTTOM = 62, 16, 14, 44

ACCENT = "#2a8f98"
"""Legible on the light and on the dark ground: at least 3.2 to 1 on both."""

Place = Callable[[float], float]


def curve_svg(curve: Curve, sites: Sequence[Site]) -> str:
    """Chance of finding against size, its 95 % bound, and the sites found and missed."""
    sizes = [s.size_mm for s in sites if s.size_mm is not None]
    bound = curve.bound_mm[np.isfinite(curve.bound_mm)]
    right = 1.05 * max(*sizes, curve.a90_mm, float(bound.max()) if len(bound) else 0.0)
    x, y = _linear(0, right, LEFT, WIDTH - RIGHT), _linear(0, 1, HEIGHT - BOTTOM, TOP)
    parts = [
        *_axes(x, y, _ticks(0, right), [(v, f"{100 * v:.0f} %") for v in (0, 0.5, 0.9, 1)]),
        _track(zip(map(x, curve.bound_mm), map(y, curve.chance), strict=True), dash="6 4"),
        _track(zip(map(x, curve.sizes_mm), map(y, curve.chance), strict=True), width=2.5),
    ]
    for site in sites:
        if site.size_mm is not None:
            at = y(1) + 5 if site.found else y(0) - 5
            parts.append(_tick(x(site.size_mm), at))
    claim = curve.a90_95_mm
    words = getattr(claim, "value", None)
    said = (
        f"Chance of finding against size in mm: 90 % at {curve.a90_mm:.3g} mm, with 95 % "
        + (f"confidence at {words:.3g} mm" if words is not None else "confidence nowhere")
    )
    return _svg(parts, said, "size, mm (line: estimate, dashes: 95 % bound, ticks: sites)")


def difference_svg(difference: Difference, unit: str) -> str:
    """Differences of two ways of measuring against their mean, with the limits of agreement."""
    means, gaps = difference.means, difference.differences
    every = [*gaps, difference.lower.low, difference.upper.high]
    low, high = _padded(min(every), max(every))
    left, right = _padded(float(means.min()), float(means.max()))
    x, y = _linear(left, right, LEFT, WIDTH - RIGHT), _linear(low, high, HEIGHT - BOTTOM, TOP)
    parts = _axes(x, y, _ticks(left, right), _ticks(low, high))
    for estimate, dash in (
        (difference.bias, ""), (difference.lower, "6 4"), (difference.upper, "6 4"),
    ):  # fmt: skip
        parts.append(_band(y(estimate.high), y(estimate.low)))
        parts.append(_level(y(estimate.value), dash))
    parts += [_dot(x(float(m)), y(float(g))) for m, g in zip(means, gaps, strict=True)]
    said = (
        f"Differences against means: mean difference {difference.bias.value:.3g}, 95 % of "
        f"differences from {difference.lower.value:.3g} to {difference.upper.value:.3g} {unit}"
    )
    return _svg(parts, said, f"mean of the two, {unit}")


def components_svg(study: CrossedStudy) -> str:
    """Shares of the study variation as bars."""
    rows = [c for c in study.components if c.source != "total"]
    x = _linear(0, 100, LEFT + 90, WIDTH - RIGHT - 50)
    parts = []
    for k, component in enumerate(rows):
        top = 12 + 34 * k
        share = component.study_variation_percent
        parts.append(
            f'<text x="{LEFT + 80}" y="{top + 15}" text-anchor="end" font-size="13" '
            f'fill="currentColor">{escape(component.source)}</text>'
            f'<rect x="{x(0):.1f}" y="{top}" width="{max(x(share) - x(0), 1):.1f}" height="20" '
            f'fill="{ACCENT}"/>'
            f'<text x="{x(share) + 6:.1f}" y="{top + 15}" font-size="13" '
            f'fill="currentColor">{share:.1f} %</text>'
        )
    said = "Share of the study variation: " + ", ".join(
        f"{c.source} {c.study_variation_percent:.1f} %" for c in rows
    )
    return _svg(parts, said, "share of the study variation (roots: they do not add to 100 %)",
                height=12 + 34 * len(rows) + 26)  # fmt: skip


def parts_svg(table: CrossedTable) -> str:
    """Every value by part, one sign an inspector: scatter and offsets at a glance."""
    low, high = _padded(float(table.values.min()), float(table.values.max()))
    y = _linear(low, high, HEIGHT - BOTTOM, TOP)
    x = _linear(-0.5, len(table.parts) - 0.5, LEFT, WIDTH - RIGHT)
    names = [(float(k), escape(p[:8])) for k, p in enumerate(table.parts)]
    parts = _axes(x, y, names, _ticks(low, high))
    for p in range(len(table.parts)):
        for i in range(len(table.inspectors)):
            shift = (i - (len(table.inspectors) - 1) / 2) * 0.5 / len(table.inspectors)
            for value in table.values[p, i]:
                parts.append(_sign(x(p + shift), y(float(value)), i))
    legend = ", ".join(f"{_SIGN_NAMES[i % 4]}: {n}" for i, n in enumerate(table.inspectors))
    said = f"{table.values.size} values of {len(table.parts)} parts by inspector"
    return _svg(parts, said, legend)


_SIGN_NAMES = ("disc", "ring", "square", "cross")


def _sign(x: float, y: float, kind: int) -> str:
    shapes = (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="currentColor"/>',
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="none" stroke="currentColor"/>',
        f'<rect x="{x - 3:.1f}" y="{y - 3:.1f}" width="6" height="6" fill="{ACCENT}"/>',
        (
            f'<path d="M{x - 3:.1f} {y - 3:.1f}l6 6m0 -6l-6 6" stroke="{ACCENT}" '
            'stroke-width="2"/>'
        ),
    )
    return shapes[kind % 4]


def _linear(low: float, high: float, start: float, end: float) -> Place:
    return lambda value: start + (value - low) / (high - low) * (end - start)


def _padded(low: float, high: float) -> tuple[float, float]:
    room = 0.06 * (high - low) or 1.0
    return low - room, high + room


def _ticks(low: float, high: float) -> list[tuple[float, str]]:
    return [(v, f"{v:.4g}") for v in ticks(low, high)]


def _axes(
    x: Place, y: Place, across: Iterable[tuple[float, str]], up: Iterable[tuple[float, str]]
) -> list[str]:
    bottom = HEIGHT - BOTTOM
    parts = [
        (
            f'<path d="M{LEFT} {TOP}V{bottom}H{WIDTH - RIGHT}" fill="none" opacity=".6" '
            'stroke="currentColor"/>'
        )
    ]
    parts += [
        f'<text x="{x(v):.1f}" y="{bottom + 16}" text-anchor="middle" font-size="12" '
        f'fill="currentColor">{label}</text>'
        for v, label in across
    ]
    for v, label in up:
        parts.append(
            f'<text x="{LEFT - 6}" y="{y(v) + 4:.1f}" text-anchor="end" font-size="12" '
            f'fill="currentColor">{label}</text>'
            f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y(v):.1f}" y2="{y(v):.1f}" '
            'stroke="currentColor" opacity=".12"/>'
        )
    return parts


def _track(points: Iterable[tuple[float, float]], *, dash: str = "", width: float = 1.5) -> str:
    # What lies beyond the frame is cut off by the drawing's own border.
    track = " ".join(f"{x:.1f},{y:.1f}" for x, y in points if np.isfinite(x))
    return (
        f'<polyline points="{track}" fill="none" stroke="{ACCENT}" stroke-width="{width}" '
        f'stroke-dasharray="{dash}"/>'
    )


def _level(y: float, dash: str) -> str:
    return (
        f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}" stroke="{ACCENT}" '
        f'stroke-width="1.5" stroke-dasharray="{dash}"/>'
    )


def _band(top: float, bottom: float) -> str:
    return (
        f'<rect x="{LEFT}" y="{top:.1f}" width="{WIDTH - LEFT - RIGHT}" '
        f'height="{max(bottom - top, 0):.1f}" fill="{ACCENT}" opacity=".12"/>'
    )


def _dot(x: float, y: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="currentColor"/>'


def _tick(x: float, y: float) -> str:
    return f'<path d="M{x:.1f} {y - 4:.1f}v8" stroke="currentColor" opacity=".55"/>'


def _svg(parts: Iterable[str], said: str, caption: str, *, height: int = HEIGHT) -> str:
    return (
        f'<svg role="img" aria-label="{escape(said)}" viewBox="0 0 {WIDTH} {height}" '
        f'style="width:100%;max-width:{WIDTH}px;color:inherit">{"".join(parts)}'
        f'<text x="{LEFT}" y="{height - 8}" font-size="12" fill="currentColor">'
        f"{escape(caption)}</text></svg>"
    )
