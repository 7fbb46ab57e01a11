"""A bar of how much of a limit is used, with its uncertainty and the undecided zone."""

from dataclasses import dataclass

from damagescore.quantity import COVERAGE_FACTOR_95

_COLOURS = {
    "within": "#2f9c69",
    "borderline": "#cf8a1c",
    "exceeded": "#d2453c",
    "not_measured": "#8b9698",
}

_TRACK = "top:8px;height:14px;border-radius:3px"

LEAST_SPAN = 1.5
MOST_SPAN = 4.0
"""The bar ends at 1.5 times the limit, or further out, up to 4 times, if need be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UsageBar:
    """What one bar shows; all shares of the limit, 1 is at the limit.

    `half_zone` is the half-width of the undecided zone: the guard factor times u.
    """

    usage: float
    u_usage: float
    half_zone: float
    outcome: str

    @property
    def span(self) -> float:
        """Usage at the right end of the bar."""
        reach = self.usage + COVERAGE_FACTOR_95 * self.u_usage
        return min(MOST_SPAN, max(LEAST_SPAN, 1.1 * reach))

    def at(self, usage: float) -> float:
        """Place of a usage along the bar, percent of its length."""
        return 100 * min(max(usage / self.span, 0.0), 1.0)

    @property
    def words(self) -> str:
        """What the bar shows, for who cannot see it."""
        used = round(100 * self.usage)
        half = round(100 * COVERAGE_FACTOR_95 * self.u_usage)
        low, high = max(used - half, 0), used + half
        said = f"{used} % of the limit used, 95 % interval {low} to {high} %"
        if self.half_zone > 0:
            low, high = (round(100 * (1 + s * self.half_zone)) for s in (-1, 1))
            said += f", not decided from {low} to {high} %"
        return said

    def to_html(self) -> str:
        """Draw it with nothing but boxes: it scales with the page."""
        colour = _COLOURS[self.outcome]
        half = COVERAGE_FACTOR_95 * self.u_usage
        boxes = [
            _box(0, 100, f"{_TRACK};background:currentColor;opacity:.13"),
            _box(
                self.at(1 - self.half_zone), self.at(1 + self.half_zone),
                "top:3px;height:24px;opacity:.5;background:repeating-linear-gradient(45deg,"
                f"{_COLOURS['borderline']} 0 2px,transparent 2px 6px)",
            ),
            _box(0, self.at(self.usage), f"{_TRACK};background:{colour}"),
            _box(
                self.at(self.usage - half), self.at(self.usage + half),
                "top:12px;height:6px;border:2px solid currentColor;border-width:0 2px;"
                "background:linear-gradient(currentColor,currentColor) center/100% 2px "
                "no-repeat",
            ),
            _line(self.at(1)),
        ]  # fmt: skip
        label = self.words
        inner = "".join(boxes)
        return (
            f'<div role="img" aria-label="{label}" '
            f'style="position:relative;height:30px;width:100%">{inner}</div>'
        )


def _box(left: float, right: float, style: str) -> str:
    width = max(right - left, 0.0)
    return (
        f'<div style="position:absolute;left:{left:.2f}%;width:{width:.2f}%;'
        f'box-sizing:border-box;{style}"></div>'
    )


def _line(at: float) -> str:
    return (
        f'<div style="position:absolute;left:calc({at:.2f}% - 1px);width:2px;top:0;height:30px;'
        'background:currentColor"></div>'
    )
