"""Part of the history paper: each finding followed through the photos."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Table

from damagescore.chart.growth import growth_chart
from damagescore.history.pairing import SIGNIFICANCE_TEXT, STATE_WORDS, Pair, sorted_pairs
from damagescore.history.predict import Prediction
from damagescore.history.record import Axis
from damagescore.history.register import NotRegistered
from damagescore.history.tracks import Step, Track
from damagescore.history.words import factor_to, prediction_words
from damagescore.quantity import Length, Measured, format_quantity
from damagescore.report.chart_figure import ChartFigure
from damagescore.report.figures import PhotoFigure
from damagescore.report.look import BODY_WIDTH, grid, text

MOST_CHARTS = 4
FEWEST_POINTS = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class SidePhoto:
    """One photo to show beside another, with what was measured on it."""

    caption: str
    rgb: NDArray[np.uint8]
    measurement: Mapping[str, Any]
    states: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """Findings followed through the inspections of one life.

    Parameters
    ----------
    uses : tuple of float
        Hours or cycles of the photos.
    tracks : tuple of Track
    predictions : tuple of Prediction
        Of each track, with the limit on single findings if there is one.
    last : Step
        From the last photo but one to the last.
    earlier, later : SidePhoto
        Those two photos.
    refused : tuple of str
        Photos that could not be laid on one another, and why.
    """

    uses: tuple[float, ...]
    tracks: tuple[Track, ...]
    predictions: tuple[Prediction, ...]
    last: Step
    earlier: SidePhoto
    later: SidePhoto
    axis: Axis = "hours"
    refused: tuple[str, ...] = ()


def followed_part(followed: Followed, *, unit: Length) -> Iterator[Flowable]:
    """Photos side by side, the pairs, and each finding over all inspections."""
    yield KeepTogether(
        [
            text("The same findings again", "heading"),
            side_by_side((followed.earlier, followed.later), unit=unit),
        ]
    )
    yield from _last_step(followed, unit)
    for words in followed.refused:
        yield text(f"Not laid on one another, {followed.axis} {words}", "note")
    if followed.tracks:
        yield text("Each finding over time", "small_heading")
        yield _tracks(followed, unit)
    long_enough = [p for p in followed.predictions if len(p.series.measured) >= FEWEST_POINTS]
    for prediction in sorted(long_enough, key=_last_size, reverse=True)[:MOST_CHARTS]:
        yield KeepTogether(
            [
                text(f"Finding {prediction.series.label}", "small_heading"),
                ChartFigure(growth_chart(prediction, unit=unit), width=0.7 * BODY_WIDTH),
                text(prediction_words(prediction)),
            ]
        )


def _last_size(prediction: Prediction) -> float:
    return prediction.series.measured[-1][1].value


def _last_step(followed: Followed, unit: Length) -> Iterator[Flowable]:
    found = followed.last.registration
    if isinstance(found, NotRegistered):
        yield text(f"These two photos cannot be laid on one another. {found.reason}")
        return
    yield text(
        f"Laid on one another by {found.n_matches} features between the layers, which are the "
        f"datum; places agree within {2 * found.u_mm:.2f} mm. {SIGNIFICANCE_TEXT}", "note",
    )  # fmt: skip
    yield pairs_table(followed.last.pairs, unit=unit)


def pair_cells(pair: Pair, *, unit: Length) -> tuple[str, ...]:
    """State, kind, layer, earlier and later id, growth."""
    known = pair.after or pair.before
    assert known is not None
    return (
        STATE_WORDS[pair.state],
        known.kind.replace("_", " "),
        "" if pair.layer is None else str(pair.layer),
        "" if pair.before is None else pair.before.id,
        "" if pair.after is None else pair.after.id,
        "" if pair.growth is None else format_quantity(pair.growth, unit=unit),
    )


PAIR_HEAD = ("State", "Kind", "Layer", "Earlier", "Later", "Growth")


def pairs_table(found: Sequence[Pair], *, unit: Length) -> Flowable:
    """The paired findings, new and grown ones first."""
    rows = [pair_cells(p, unit=unit) for p in sorted_pairs(found)]
    return grid(PAIR_HEAD, rows, widths=(20, 16, 10, 16, 16, 24))


def track_cells(followed: Followed, *, unit: Length, most: int = 8) -> list[tuple[str, ...]]:
    """Name and sizes of each track at the last `most` photos, with a dash where not found."""
    rows = []
    for prediction in followed.predictions:
        series = prediction.series
        factor, _ = factor_to(series.unit, unit)
        sizes = [
            f"{factor * p.value.value:.2f}" if isinstance(p.value, Measured) else "–"
            for p in series.points
        ]
        sign = factor_to(series.unit, unit)[1]
        rows.append((f"{series.label} ({sign})", *sizes[-most:]))
    return rows


def _tracks(followed: Followed, unit: Length) -> Flowable:
    head = ("Finding", *(f"{u:.0f}" for u in followed.uses[-8:]))
    count = len(head) - 1
    return grid(head, track_cells(followed, unit=unit), widths=(28, *[72 / count] * count))


def side_by_side(photos: Sequence[SidePhoto], *, unit: Length) -> Flowable:
    """Photos in one row with their captions, two or three of them."""
    gap = 3 * mm
    width = (BODY_WIDTH - gap * (len(photos) - 1)) / len(photos)
    figures = [
        PhotoFigure(p.rgb, p.measurement, states=p.states, unit=unit, box=(width, 0.75 * width))
        for p in photos
    ]
    captions = [text(p.caption, "note", most=120) for p in photos]
    table = Table([figures, captions], colWidths=[width + gap] * len(photos), hAlign="LEFT")
    table.setStyle(
        [("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), gap)]
    )
    return table
