"""Charts of studies."""

from collections.abc import Sequence

from damagescore.capability.crossed import CrossedStudy
from damagescore.capability.csv_tables import CrossedTable
from damagescore.capability.curve import Curve
from damagescore.capability.detection import Site
from damagescore.capability.numbers import Difference
from damagescore.chart.axes import reach
from damagescore.chart.legend import add_legend, legend_height, series_shape, shortened
from damagescore.chart.plot import HEIGHT, WIDTH, Plot
from damagescore.chart.record import SERIES_COLOURS, Chart, Style, Words

ESTIMATE = Style(colour="blue", width=2.0)
BOUND = Style(colour="blue", width=1.5, dash=(6, 4))
INTERVAL = Style(colour="blue", opacity=0.14)
SITE = Style(opacity=0.6)


def curve_chart(curve: Curve, sites: Sequence[Site]) -> Chart:
    """Chance of finding against size, its 95 % bound, and the sites found and missed."""
    sizes = [s.size_mm for s in sites if s.size_mm is not None]
    claim = getattr(curve.a90_95_mm, "value", None)
    largest = max(*sizes, curve.a90_mm)
    # A bound that only comes far beyond all sizes would press them into one line.
    right = 1.05 * max(largest, min(claim or 0.0, 2 * largest))
    seen, held = curve.sizes_mm <= right, curve.bound_mm <= right
    plot = Plot(
        x=(0.0, right), y=(-6.0, 106.0), x_label="Size, mm (dashes: 95 % bound; ticks: sites)",
        y_label="Found, %",
    )  # fmt: skip
    plot.axes()
    chance = 100 * curve.chance
    plot.line(curve.bound_mm[held].tolist(), chance[held].tolist(), BOUND)
    plot.line(curve.sizes_mm[seen].tolist(), chance[seen].tolist(), ESTIMATE)
    for site in sites:
        if site.size_mm is not None:
            low = 101.5 if site.found else -4.5
            plot.line((site.size_mm, site.size_mm), (low, low + 3), SITE)
    told = f"90 % at {curve.a90_mm:.3g} mm, with 95 % " + (
        "confidence nowhere" if claim is None else f"confidence at {claim:.3g} mm"
    )
    return plot.chart(title="Chance of finding against size", told=f"{told}.")


def difference_chart(difference: Difference, unit: str) -> Chart:
    """Differences of two ways of measuring against their mean, with the limits of agreement."""
    means, gaps = difference.means.tolist(), difference.differences.tolist()
    plot = Plot(
        x=reach(means, from_zero=False),
        y=reach([*gaps, difference.lower.low, difference.upper.high], from_zero=False),
        x_label=f"Mean of the two, {unit}", y_label="Difference",
    )  # fmt: skip
    plot.axes()
    for estimate, style in (
        (difference.bias, ESTIMATE), (difference.lower, BOUND), (difference.upper, BOUND),
    ):  # fmt: skip
        plot.band(plot.x, (estimate.low,) * 2, (estimate.high,) * 2, INTERVAL)
        plot.level(estimate.value, style)
    for mean, gap in zip(means, gaps, strict=True):
        plot.dot(mean, gap, style=Style())
    told = (
        f"Mean difference {difference.bias.value:.3g}, 95 % of differences from "
        f"{difference.lower.value:.3g} to {difference.upper.value:.3g} {unit}."
    )
    return plot.chart(title="Differences against means", told=told)


def components_chart(study: CrossedStudy) -> Chart:
    """Shares of the study variation as bars."""
    rows = [c for c in study.components if c.source != "total"][::-1]
    names = [shortened(c.source, 22) for c in rows]
    plot = Plot(
        x=(0.0, 120.0), y=(-0.6, len(rows) - 0.4), x_label="% (roots: they do not add to 100)",
        y_label="Share of the study variation", size=(WIDTH, 78.0 + 28 * len(rows)),
        margins=(27.0, 14.0, 40.0, 16 + 6.4 * max(map(len, names))),
    )  # fmt: skip
    plot.axes(y_names=names)
    for row, component in enumerate(rows):
        share, at = component.study_variation_percent, float(row)
        plot.band((0.0, share), (at - 0.3,) * 2, (at + 0.3,) * 2,
                  Style(colour="blue", opacity=0.75))  # fmt: skip
        place = plot.across.at(share) + 5, plot.up.at(at) + 4
        plot.marks.append(Words(at=place, text=f"{share:.1f} %", style=Style()))
    told = ", ".join(f"{c.source} {c.study_variation_percent:.1f} %" for c in rows[::-1])
    return plot.chart(title="Share of the study variation", told=f"{told}.")


def parts_chart(table: CrossedTable) -> Chart:
    """Every value by part, one mark an inspector: scatter and offsets at a glance."""
    names, above = table.inspectors, legend_height(table.inspectors)
    count = len(table.parts)
    plot = Plot(
        x=(-0.5, count - 0.5), y=reach(table.values.ravel().tolist(), from_zero=False),
        x_label="Part", y_label="Value", size=(WIDTH, HEIGHT + above),
        margins=(27.0 + above, 14.0, 40.0, 46.0),
    )  # fmt: skip
    every = 1 + (count - 1) // 16
    letters = 50 * every // count  # what fits before the next name
    plot.axes(
        x_names=[
            "" if k % every else _tail(part, letters) for k, part in enumerate(table.parts)
        ]
    )
    for inspector in range(len(names)):
        shift = (inspector - (len(names) - 1) / 2) * 0.5 / len(names)
        style = Style(colour=SERIES_COLOURS[inspector % 4])
        for part in range(count):
            for value in table.values[part, inspector].tolist():
                plot.dot(
                    part + shift, value, shape=series_shape(inspector), style=style,
                    told=f"{table.parts[part]}, {names[inspector]}: {value:.4g}",
                )  # fmt: skip
    add_legend(plot, names)
    told = f"{table.values.size} values of {count} parts by {len(names)} inspectors."
    return plot.chart(title="Values by part and inspector", told=told)


def _tail(name: str, most: int) -> str:
    """The end of a name: numbered parts differ there."""
    return name if len(name) <= most else f"…{name[1 - most :]}"
