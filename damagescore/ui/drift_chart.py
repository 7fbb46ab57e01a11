"""A chart of individual values in order, with centre, control limits and tolerance."""

from collections.abc import Sequence
from html import escape

from damagescore.capability.standing import ControlChart

WIDTH, HEIGHT = 720, 200
LEFT, RIGHT, TOP, BOTTOM = 54, 12, 14, 26


def drift_svg(
    chart: ControlChart, labels: Sequence[str], *, tolerance: float, unit: str, what: str
) -> str:
    """Draw a chart as SVG that takes the colours of the page.

    Parameters
    ----------
    chart : ControlChart
    labels : sequence of str
        A few words for each value, shown when pointed at.
    tolerance : float
        Values beyond plus or minus this fail.
    unit, what : str
        For the axis and for who cannot see the chart.
    """
    values = chart.values
    reach = 1.15 * max(tolerance, float(abs(values).max()), abs(chart.high or 0.0))

    def y(value: float) -> float:
        return TOP + (reach - value) / (2 * reach) * (HEIGHT - TOP - BOTTOM)

    def x(k: int) -> float:
        return LEFT + (k + 0.5) / len(values) * (WIDTH - LEFT - RIGHT)

    parts = [
        _band(y(tolerance), y(-tolerance)),
        _rule(y(0.0), "0", dash=""),
        _rule(y(tolerance), f"+{tolerance:.2g}", dash="2 3"),
        _rule(y(-tolerance), f"−{tolerance:.2g}", dash="2 3"),
    ]
    if chart.low is not None and chart.high is not None:
        parts += [_rule(y(v), "", dash="8 4") for v in (chart.low, chart.high)]
    track = " ".join(f"{x(k):.1f},{y(float(v)):.1f}" for k, v in enumerate(values))
    parts.append(
        f'<polyline points="{track}" fill="none" stroke="currentColor" opacity=".45"/>'
    )
    for k, (value, label) in enumerate(zip(values, labels, strict=True)):
        parts.append(_dot(x(k), y(float(value)), label, odd=k in chart.outside))
    said = (
        f"{what}: {len(values)} checks, last {values[-1]:+.3g} {unit}, "
        f"tolerance {tolerance:.3g} {unit}"
    )
    if chart.outside:
        said += f", {len(chart.outside)} beyond the control limits"
    return (
        f'<svg role="img" aria-label="{escape(said)}" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'style="width:100%;max-width:{WIDTH}px;color:inherit">{"".join(parts)}'
        f'<text x="{LEFT}" y="{HEIGHT - 6}" font-size="12" fill="currentColor">'
        f"{escape(what)}, {unit}; oldest left</text></svg>"
    )


def _band(top: float, bottom: float) -> str:
    return (
        f'<rect x="{LEFT}" y="{top:.1f}" width="{WIDTH - LEFT - RIGHT}" '
        f'height="{bottom - top:.1f}" fill="currentColor" opacity=".06"/>'
    )


def _rule(y: float, label: str, *, dash: str) -> str:
    return (
        f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}" '
        f'stroke="currentColor" stroke-dasharray="{dash}" opacity=".7"/>'
        f'<text x="{LEFT - 6}" y="{y + 4:.1f}" font-size="12" text-anchor="end" '
        f'fill="currentColor">{label}</text>'
    )


def _dot(x: float, y: float, label: str, *, odd: bool) -> str:
    # A value beyond the control limits is larger and hollow: seen without colour.
    style = (
        'r="6" fill="none" stroke="#d2453c" stroke-width="2.5"'
        if odd
        else ('r="4" fill="currentColor"')
    )
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" {style}><title>{escape(label)}</title></circle>'
