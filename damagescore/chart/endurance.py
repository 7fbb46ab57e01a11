"""Charts of an endurance test: damage of each part over hours, and lives."""

from collections.abc import Sequence

from damagescore.chart.axes import reach
from damagescore.chart.growth import LIMIT
from damagescore.chart.legend import (
    add_legend,
    legend_height,
    series_shape,
    series_style,
    shortened,
)
from damagescore.chart.plot import HEIGHT, WIDTH, Plot
from damagescore.chart.record import Chart, Style, Words
from damagescore.endurance.compare import CriterionComparison
from damagescore.endurance.record import Specimen
from damagescore.endurance.words import life_words
from damagescore.history.words import factor_to, plain_words, with_sign
from damagescore.quantity import COVERAGE_FACTOR_95, Length


def damage_chart(parts: Sequence[Specimen], criterion: str, *, unit: Length = "mm") -> Chart:
    """One criterion of every part against test hours, with 95 % intervals and the limit."""
    known = [(p, s) for p in parts if (s := p.series_named(criterion)) is not None]
    series = known[0][1]
    factor, sign = factor_to(series.unit, unit)
    limit = None if series.limit is None else factor * series.limit
    values = [
        factor * (m.value + way * COVERAGE_FACTOR_95 * m.u)
        for _, s in known for _, m in s.measured for way in (-1, 1)
    ]  # fmt: skip
    last = max(p.last_hours for p, _ in known) or 1.0
    names = [p.name for p, _ in known]
    above = legend_height(names)
    plot = Plot(
        x=(-0.02 * last, 1.04 * last),
        y=reach([*values, *([] if limit is None else [1.1 * limit])],
                from_zero=series.direction == "max"),
        x_label="Test hours", y_label=with_sign(series.label, sign),
        margins=(27.0 + above, 14.0, 40.0, 46.0), size=(WIDTH, HEIGHT + above),
    )  # fmt: skip
    plot.axes()
    if limit is not None:
        plot.level(limit, LIMIT, words="limit")
    for number, (_, one) in enumerate(known):
        style = series_style(number)
        points = [(use, factor * m.value, factor * m.u) for use, m in one.measured]
        plot.line([p[0] for p in points], [p[1] for p in points], style)
        plain = Style(colour=style.colour, width=1.2)
        for use, value, u in points:
            plot.dot(
                use, value, half=COVERAGE_FACTOR_95 * u, style=plain, shape=series_shape(number)
            )
    add_legend(plot, names)
    told = " ".join(_told(p, criterion, unit) for p, _ in known)
    if series.limit is not None:
        told = f"The limit is {plain_words(series.limit, series.unit, shown=unit)}. {told}"
    return plot.chart(title=series.label, told=told)


def lives_chart(comparison: CriterionComparison) -> Chart:
    """Hours at which each part reached the criterion: bars between inspections."""
    lives = comparison.lives
    last = max((x.life.high or x.part.last_hours for x in lives), default=1.0) or 1.0
    count = len(lives)
    longest = max(len(x.part.name) for x in lives)
    left = min(160.0, 16 + 6.8 * longest)
    plot = Plot(
        x=(0.0, 1.08 * last), y=(-0.7, count - 0.3), x_label="Test hours",
        y_label="Reached between", size=(WIDTH, 78.0 + 26 * count),
        margins=(27.0, 14.0, 40.0, left),
    )  # fmt: skip
    plot.axes(y_names=[shortened(x.part.name, 22) for x in lives])
    for row, item in enumerate(lives):
        style = series_style(row)
        at = float(row)
        life = item.life
        if life.high is None:
            plot.line((0.0, item.part.last_hours), (at, at), Style(width=1.2, opacity=0.5))
            place = plot.across.at(life.low), plot.up.at(at) + 4
            words = Words(at=(place[0] + 6, place[1]), text="→ not reached", style=Style())
            if place[0] > 0.7 * plot.size[0]:
                words = Words(at=(place[0] - 4, place[1] - 6), text="not reached →",
                              anchor="end", style=Style())  # fmt: skip
            plot.marks.append(words)
            continue
        plot.line((0.0, life.low), (at, at), Style(width=1.2, opacity=0.5))
        plot.band(
            (life.low, life.high), (at - 0.22, at - 0.22), (at + 0.22, at + 0.22),
            Style(colour=style.colour, opacity=0.55),
        )  # fmt: skip
        if item.estimate is not None:
            plot.dot(item.estimate, at, style=Style(), shape="diamond")
    told = " ".join(f"{x.part.name}: {life_words(x.life)}." for x in lives)
    return plot.chart(title=f"Hours to: {comparison.label}", told=told)


def _told(part: Specimen, criterion: str, unit: Length) -> str:
    series = part.series_named(criterion)
    if series is None or not series.measured:
        return f"{part.name}: no values."
    use, value = series.measured[-1]
    shown = plain_words(value.value, series.unit, shown=unit)
    return f"{part.name}: {shown} at {use:.0f} h, the last of {len(series.measured)} values."
