"""A store with one inspection whose photo is small and whose findings are known."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from damagescore.damage import measure_lines
from damagescore.damage.record import Finding
from damagescore.inspection import Inspection, Part, add_photo, new_inspection
from damagescore.measure import Measurement, with_findings
from damagescore.measurement import MeasureOptions
from damagescore.photo import read_photo
from damagescore.quality import Check, Quality
from damagescore.quantity import Measured
from damagescore.records import Store
from damagescore.scale import ScaleRequest
from damagescore.ui.measuring import options_to_dict
from tests.conftest import flat_edge, plain_scale

WIDTH, HEIGHT = 400, 300

CRACK = [[60.0, 240.0], [160.0, 240.0]]
OTHER = [[220.0, 140.0], [300.0, 140.0]]
MISSED = [[80.0, 50.0], [200.0, 50.0]]
"""In a layer each; 100, 80 and 120 px long at 0.04 mm a pixel: 4.0, 3.2 and 4.8 mm."""


Lines = tuple[list[list[float]], ...]


def photo_file() -> bytes:
    """Grey rubber with three dark strokes 3 px wide, as PNG."""
    generator = np.random.default_rng(11)
    image = generator.normal(90, 2, (HEIGHT, WIDTH)).clip(0, 255).astype(np.uint8)
    for (x1, y1), (x2, y2) in (CRACK, OTHER, MISSED):
        cv2.line(image, (int(x1), int(y1)), (int(x2), int(y2)), 20, 3)
    done, data = cv2.imencode(".png", cv2.cvtColor(image, cv2.COLOR_GRAY2BGR))
    assert done
    return bytes(data.tobytes())


def measurement(data: bytes, *, lines: Lines) -> Measurement:
    """A measurement with a crack along each line."""
    photo = read_photo(data, name="edge.png")
    edge, scale = flat_edge(width=WIDTH, height=HEIGHT), plain_scale()
    findings = []
    for number, line in enumerate(lines, start=1):
        points = np.array(line)
        quantities = measure_lines(photo, [points], scale, edge=edge, kind="crack")
        findings.append(
            Finding(
                id=f"crack-{number}", kind="crack", layer=2 * number - 2, strength=0.8,
                lines_px=(points,), quantities=quantities,
            )
        )  # fmt: skip
    check = Check(name="focus", outcome="pass", value=1.0, unit="px", message="Sharp.")
    draft = Measurement(
        photo={"path": "edge.png", "sha256": photo.sha256, "width": WIDTH, "height": HEIGHT},
        view="face", scale=scale, quality=Quality(usable=True, checks=(check,)), edge=edge,
        findings=(), totals={},
    )  # fmt: skip
    return with_findings(draft, findings)


def filled(folder: Path) -> Inspection:
    """Put an inspection with two proposed cracks into a new store."""
    inspection = record()
    keep(folder, inspection)
    return inspection


def record(*, serial_number: str = "0117", lines: Lines = (CRACK, OTHER)) -> Inspection:
    """An inspection of one photo with a proposed crack along each line; refused without."""
    found = measurement(photo_file(), lines=lines)
    if not lines:
        blur = Check(
            name="focus", outcome="refuse", value=20.0, unit="px",
            message="The photo is out of focus: hold still.",
        )  # fmt: skip
        found = replace(found, quality=Quality(usable=False, checks=(blur,)))
    part = Part(
        part_number="HV-2210", serial_number=serial_number, hours=600.0, work_order="HVRW-1"
    )
    options = MeasureOptions(scale=ScaleRequest(kind="squares", size_mm=10.0))
    return add_photo(
        new_inspection(part, by="R. Alder"),
        sha256=found.photo["sha256"], name="edge.png", measurement=found.to_dict(),
        options=options_to_dict(options), by="R. Alder",
    )  # fmt: skip


HALVES = ([[60.0, 240.0], [100.0, 240.0]], [[112.0, 240.0], [160.0, 240.0]])
"""`CRACK` with a gap of 12 px: 1.6, 0.48 and 1.92 mm."""


def gapped() -> Inspection:
    """An inspection with the halves of a crack and a suggested link between them."""
    inspection = record(lines=HALVES)
    (entry,) = inspection.photos
    way = [HALVES[0][1], [106.0, 240.0], HALVES[1][0]]
    link = {
        "id": "link-1", "first": "crack-1", "second": "crack-2", "line_px": way,
        "beyond_px": [], "gap_mm": 0.48, "chance": 0.83,
    }  # fmt: skip
    plain = {**entry.measurement, "links": [link]}
    return replace(inspection, photos=(replace(entry, measurement=plain),))


GLARE = [[200.0, 120.0], [320.0, 120.0], [320.0, 160.0], [200.0, 160.0]]
"""On layer 2, over `OTHER`."""


def partly_judged(*, lines: Lines = (CRACK, OTHER)) -> Inspection:
    """An inspection whose photo shows glare on a tenth of layer 2."""
    inspection = record(lines=lines)
    (entry,) = inspection.photos
    usable = replace(Quality.from_dict(entry.measurement["quality"]), usable=True)
    part = {
        "layer": 2, "reason": "glare", "polygon_px": GLARE,
        "area": Measured(value=7.7, u=0.1, unit="mm2").to_dict(),
        "share_of_layer": Measured(value=10.0, u=0.1, unit="%").to_dict(),
    }  # fmt: skip
    plain = {**entry.measurement, "unjudged": [part], "quality": usable.to_dict()}
    return replace(inspection, photos=(replace(entry, measurement=plain),))


def keep(folder: Path, *inspections: Inspection) -> None:
    """Put inspections and their photo into a store, which may be in use."""
    with Store(folder) as store:
        store.put_photo(photo_file())
        for inspection in inspections:
            store.save(inspection)
