"""A chart of individual values in order, with centre, control limits and tolerance."""

from collections.abc import Sequence

from damagescore.capability.standing import ControlChart
from damagescore.chart.plot import Plot
from damagescore.chart.record import Chart, Style

TOLERANCE = Style(colour="red", width=1.2, dash=(2, 3))
CONTROL = Style(width=1.2, dash=(8, 4), opacity=0.7)
TRACK = Style(opacity=0.45)
BEYOND = Style(colour="red", width=2.5)


def drift_chart(
    chart: ControlChart, labels: Sequence[str], *, tolerance: float, unit: str, what: str
) -> Chart:
    """Draw values of checks, oldest left.

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
    values = chart.values.tolist()
    reach = 1.15 * max(tolerance, *map(abs, values), abs(chart.high or 0.0))
    plot = Plot(
        x=(0.5, len(values) + 0.5), y=(-reach, reach), x_label="Check, oldest left",
        y_label=f"{what}, {unit}", size=(640.0, 220.0),
    )  # fmt: skip
    step = 1 + len(values) // 15
    plot.axes(x_names=["", *("" if k % step else str(k) for k in range(1, len(values) + 1))])
    plot.level(0.0, Style(opacity=0.6))
    plot.level(tolerance, TOLERANCE, words="tolerance")
    plot.level(-tolerance, TOLERANCE)
    if chart.low is not None and chart.high is not None:
        plot.level(chart.high, CONTROL)
        plot.level(chart.low, CONTROL)
    plot.line([k + 1 for k in range(len(values))], values, TRACK)
    for k, (value, label) in enumerate(zip(values, labels, strict=True)):
        odd = k in chart.outside
        # A value beyond the control limits is larger and hollow: seen without colour.
        plot.dot(
            k + 1, value, style=BEYOND if odd else Style(), hollow=odd, told=label,
            size=6.0 if odd else 3.6,
        )  # fmt: skip
    told = (
        f"{len(values)} checks, last {values[-1]:+.3g} {unit}, tolerance {tolerance:.3g} {unit}"
    )
    if chart.outside:
        told += f", {len(chart.outside)} beyond the control limits"
    return plot.chart(title=what, told=f"{told}.")
