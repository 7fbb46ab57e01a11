"""Part of the report for one photo: picture, evidence of the scale, quality."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table, TableStyle

from damagescore.errors import DamageScoreError
from damagescore.inspection import gap_text, open_links, words_of_link
from damagescore.inspection.record import PhotoEntry
from damagescore.photo import read_photo
from damagescore.photo.record import Photo
from damagescore.quality import Check
from damagescore.quantity import MM_PER_INCH, Length, quantity_from_dict, round_half_even
from damagescore.report.closeup import close_up
from damagescore.report.criteria import value_text
from damagescore.report.figures import LineSample, PhotoFigure
from damagescore.report.look import BODY_WIDTH, grid, pairs, text
from damagescore.report.marks import STYLES, kinds_in, scale_bar, with_rulers
from damagescore.report.rows import states_of
from damagescore.report.words import METHODS, QUANTITIES, words_of

PhotoLoader = Callable[[str], bytes]


def photo_part(
    entry: PhotoEntry, number: int, *, loader: PhotoLoader, unit: Length
) -> Iterator[Flowable]:
    """Give everything about one photo."""
    measurement = entry.measurement
    heading = text(f"Photo {number}: {entry.name}, {entry.view} view", "heading", most=300)
    sha256 = text(f"Photo SHA-256 {entry.sha256}", "note")
    try:
        photo = read_photo(loader(entry.sha256), name=entry.name)
    except DamageScoreError as fault:
        # The rest of the record still has to be readable; the fault stands in it.
        yield KeepTogether(
            [heading, text(f"The photo cannot be shown. {fault}", most=600), sha256]
        )
    else:
        yield KeepTogether([heading, *_picture(photo, entry, unit=unit), sha256])
        yield from _close_up(photo, entry, unit=unit)
    yield text("Quality", "small_heading")
    yield from _quality(measurement, unit=unit)
    yield text("Scale", "small_heading")
    yield from _scale(measurement, unit=unit)
    yield text(
        "Totals of this photo, over all its findings whatever their review", "small_heading"
    )
    yield _totals(measurement, unit=unit)


def _picture(photo: Photo, entry: PhotoEntry, *, unit: Length) -> Iterator[Flowable]:
    states, shown = states_of(entry), with_rulers(entry.measurement, entry.rulers, unit=unit)
    yield PhotoFigure(photo.rgb, shown, states=states, unit=unit, box=(BODY_WIDTH, 118 * mm))
    kinds = kinds_in(shown, states)
    if kinds:
        yield Spacer(1, 3)
        yield _legend(kinds)
    yield text(_bar_note(entry.measurement), "note")
    for note in _gap_notes(entry, unit=unit):
        yield text(note, "note", most=400)


def _gap_notes(entry: PhotoEntry, *, unit: Length) -> Iterator[str]:
    """What was joined across a gap, and what nobody has decided on."""
    for finding in entry.measurement.get("findings") or ():
        if finding.get("bridged_px"):
            n = len(finding["bridged_px"])
            gaps = "a gap" if n == 1 else f"{n} gaps"
            yield (
                f"{finding['id']} was joined across {gaps} by the inspector; the way across "
                "counts to its length, with a budget line of its own."
            )
    for link in open_links(entry):
        yield (
            f"{words_of_link(link)} may be one crack, across a gap of "
            f"{gap_text(link, unit)} (chance {100 * link['chance']:.0f} %). "
            "Nobody has decided on it, so lengths may be understated."
        )


def _bar_note(measurement: Mapping[str, Any]) -> str:
    if not measurement.get("scale"):
        return "No scale bar: the scale of this photo is not known."
    if scale_bar(measurement, 1000) is None:
        return "No scale bar: this photo was refused."
    return "The bar holds at the centre of the judged area."


def _close_up(photo: Photo, entry: PhotoEntry, *, unit: Length) -> Iterator[Flowable]:
    shown = with_rulers(entry.measurement, entry.rulers, unit=unit)
    found = close_up(photo.rgb, shown)
    if found is None:
        return
    pixels, moved = found
    figure = PhotoFigure(
        pixels, moved, states=states_of(entry), unit=unit, box=(BODY_WIDTH, 80 * mm)
    )
    yield KeepTogether([text("Close-up of the findings", "small_heading"), figure])


def _legend(kinds: Sequence[str]) -> Table:
    cells: list[list[Any]] = []
    for start in range(0, len(kinds), 3):
        line: list[Any] = []
        for kind in kinds[start : start + 3]:
            line += [LineSample(kind), text(STYLES[kind].name, "cell")]
        cells.append([*line, *[""] * (6 - len(line))])
    column = BODY_WIDTH / 3
    table = Table(cells, colWidths=[42, column - 42] * 3, hAlign="LEFT")
    table.setStyle(
        TableStyle([
            ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            ("LEFTPADDING", (0, 0), (-1, -1), 2),
            ("TOPPADDING", (0, 0), (-1, -1), 1),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
        ])
    )  # fmt: skip
    return table


def _quality(measurement: Mapping[str, Any], *, unit: Length) -> Iterator[Flowable]:
    quality = measurement.get("quality")
    if not quality:
        yield text("Not checked: this photo was not measured.")
        return
    if not quality["usable"]:
        yield text("REFUSED: this photo is not fit for measuring, so nothing was measured.")
    yield grid(
        ("Check", "Outcome", "What was seen"),
        [
            (words_of(c["name"], {}), c["outcome"].upper(), Check.from_dict(c).words(unit))
            for c in quality["checks"]
        ],
        widths=(20, 12, 68),
    )


def _scale(measurement: Mapping[str, Any], *, unit: Length) -> Iterator[Flowable]:
    scale = measurement.get("scale")
    if not scale:
        yield text("Not known: no length in this photo is measured.")
        return
    factor = 1.0 if unit == "mm" else 1 / MM_PER_INCH
    tilt, apart = scale.get("tilt_deg"), scale.get("disagreement")
    relative = scale.get("u_relative")
    rows = [
        ("Method", words_of(scale["method"], METHODS)),
        ("Scale", f"{scale['mm_per_px'] * factor:.5g} {unit} per pixel"),
        (
            "Uncertainty",
            f"± {1.96 * scale['u_mm_per_px'] * factor:.2g} {unit} per pixel (k = 1.96)",
        ),
        ("Tilt", "not known" if tilt is None else f"{tilt:.1f}° from facing the surface"),
        ("Marks apart by", "only one mark" if apart is None else f"{100 * apart:.2f} %"),
        (
            "Relative",
            "not given" if relative is None else f"u = {100 * relative:.2f} % (k = 1)",
        ),
        ("Edge", _edge_shape(scale, factor=factor, unit=unit)),
    ]
    yield pairs(rows)
    yield Spacer(1, 3)
    if scale["marks"]:
        yield grid(
            ("Mark", "Number", "Size", f"{unit} per pixel", "Tilt"),
            [_mark_cells(m, factor=factor, unit=unit) for m in scale["marks"]],
            widths=(30, 14, 20, 20, 16),
        )
    if scale.get("budget"):
        sources = "; ".join(f"{c['source']} {100 * c['u']:.2g} %" for c in scale["budget"])
        yield text(f"Uncertainty budget of the scale (k = 1): {sources}.", "note")


def _edge_shape(scale: Mapping[str, Any], *, factor: float, unit: Length) -> str:
    radius = (scale.get("surface") or {}).get("radius_mm")
    return "flat" if radius is None else f"cylinder of radius {radius * factor:.4g} {unit}"


def _mark_cells(mark: Mapping[str, Any], *, factor: float, unit: Length) -> Sequence[object]:
    size, each, tilt = mark.get("size_mm"), mark.get("mm_per_px"), mark.get("tilt_deg")
    return (
        words_of(mark["kind"], {}),
        "none" if mark.get("id") is None else mark["id"],
        "not given" if size is None else f"{size * factor:.5g} {unit}",
        "not known" if each is None else f"{each * factor:.5g}",
        "not known" if tilt is None else f"{round_half_even(tilt, places=1)}°",
    )


def _totals(measurement: Mapping[str, Any], *, unit: Length) -> Flowable:
    totals = measurement.get("totals") or {}
    if not totals:
        return text("Not measured.")
    return grid(
        ("Total", "Value"),
        [
            (words_of(name, QUANTITIES), value_text(quantity_from_dict(plain), unit))
            for name, plain in totals.items()
        ],
        widths=(40, 60),
    )
