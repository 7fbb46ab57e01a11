"""Part of the report on a round edge: the map, what was seen, each damage counted once."""

import math
from collections.abc import Iterator

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Table, TableStyle

from damagescore.around import Around, Damage
from damagescore.inspection import Inspection, circumference_of
from damagescore.quantity import Length, format_quantity
from damagescore.report.around_map import AroundFigure, seen_words
from damagescore.report.criteria import value_text
from damagescore.report.look import BODY_WIDTH, grid, text
from damagescore.report.words import KINDS, QUANTITIES, words_of

MAP_MM = 82.0

MEANING = (
    "Looking down on the part from the side that is up in the photos. One ring for each rubber "
    "layer, the lowest of the photos innermost; tinted where it was seen and could be judged, "
    "with strokes where any layer was not. Numbers inside are those of the photos."
)


def around_part(inspection: Inspection, *, unit: Length) -> Iterator[Flowable]:
    """Give the map and its table; nothing for a part without placed photos."""
    around = circumference_of(inspection)
    if around is None:
        return
    words = [text(seen_words(around)), *_budget(around), text(MEANING, "note")]
    table = Table(
        [[AroundFigure(around, size=MAP_MM * mm), words]],
        colWidths=[(MAP_MM + 4) * mm, BODY_WIDTH - (MAP_MM + 4) * mm], hAlign="LEFT",
    )  # fmt: skip
    table.setStyle(
        TableStyle([("VALIGN", (0, 0), (-1, -1), "MIDDLE"), ("LEFTPADDING", (0, 0), (0, 0), 0)])
    )
    yield KeepTogether([text("Round edge: the whole circumference", "heading"), table])
    if around.damages:
        yield grid(
            ("Damage, counted once", "Kind", "Layer", "From, to", "Measured"),
            [_cells(d, unit=unit) for d in around.damages],
            widths=(34, 13, 8, 20, 35),
        )
    strays = ", ".join(s.name for s in around.strays)
    if strays:
        yield text(f"In no known layer, so without a place: {strays}.", "note")


def clock_span(damage: Damage) -> str:
    """Where a damage begins and ends: clock positions to five minutes, clockwise."""
    start, extent = damage.arc
    return f"{clock_text(start)} to {clock_text(start + extent)}"


def clock_text(angle_deg: float) -> str:
    """An angle as a clock position, to the nearest five minutes."""
    minutes = round(angle_deg % 360 / 360 * 144) % 144 * 5
    hour, minute = divmod(minutes, 60)
    return f"{hour or 12}:{minute:02d}"


def _budget(around: Around) -> Iterator[Flowable]:
    if around.seen_deg.value > 0 and not around.complete:
        yield text(f"Seen: {format_quantity(around.seen_deg)} (k = 1.96).", "note")
    u_place = max((p.u_deg for p in around.photos), default=0.0)
    arc_mm = math.radians(u_place) * around.radius_mm
    yield text(
        f"Photos are placed to ± {1.96 * u_place:.0f}° (k = 1.96), {1.96 * arc_mm:.1f} mm of "
        "arc; damage that two photos show at one place within that counts once, as the photo "
        "that shows it best has it.", "note",
    )  # fmt: skip


def _cells(damage: Damage, *, unit: Length) -> tuple[object, ...]:
    measured = "; ".join(
        f"{words_of(name, QUANTITIES)} {value_text(quantity, unit)}"
        for name, quantity in damage.quantities.items()
        if name in ("length", "width_max", "area")
    )
    return (
        damage.name, words_of(damage.kind, KINDS), damage.layer, clock_span(damage), measured,
    )  # fmt: skip
