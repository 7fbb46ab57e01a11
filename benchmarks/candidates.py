"""Every line that the search weighs in photos with truth, and whether it is real."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.truth import lies_on, reach_of
from damagescore.damage.confidence import TERMS
from damagescore.damage.crack import candidates_of
from damagescore.damage.evidence import Evidence
from damagescore.edge.record import Edge
from damagescore.measure import area_mask, measure_photo
from damagescore.photo import read_photo
from damagescore.photo.along import places_along
from damagescore.photo.outline import fill_outline
from damagescore.scenes.reading import Case, cases_in

LEAST_ON_RUBBER = 0.85


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """A candidate of one photo, the chance that it was given, and the truth."""

    photo: str
    evidence: Evidence
    chance: float
    real: bool

    @property
    def values(self) -> dict[str, float]:
        """The terms of the model, by name."""
        return {name: term(self.evidence) for name, term in TERMS.items()}


def weighed_in(folder: Path, numbers: range) -> Iterator[list[Weighed]]:
    """The candidates of every good face photo of a folder, photo by photo.

    Parameters
    ----------
    folder : Path
        With truth files, `benchmarks.truth.cases_in`.
    numbers : range
        The photos to read, by the number at the end of their name.
    """
    for case in cases_in(folder):
        number = int(case.path.stem.rsplit("-", 1)[-1])
        if number in numbers and case.good and case.truth["view"] == "face":
            yield weighed_of(case)


def chosen(text: str) -> tuple[Path, range]:
    """Folder and photo numbers of FOLDER:FROM:TO, TO left out."""
    folder, first, last = text.rsplit(":", 2)
    return Path(folder), range(int(first), int(last))


def weighed_of(case: Case) -> list[Weighed]:
    """The candidates of one photo; none where it is refused or its layers are mistaken.

    Lines on metal or on the background say nothing about lines on rubber.
    """
    photo = read_photo(case.path)
    measurement = measure_photo(photo, case.options())
    scale, edge = measurement.scale, measurement.edge
    if scale is None or edge is None or not measurement.quality.usable:
        return []
    if share_on_rubber(case, edge) < LEAST_ON_RUBBER:
        return []
    found = candidates_of(
        photo, edge, scale, exclude=area_mask(measurement.findings, edge.shape)
    )
    truths = [places_along(c["polylines_px"]) for c in case.cracks]
    return [
        Weighed(
            photo=case.path.stem, evidence=c.evidence, chance=c.chance,
            real=lies_on([strip.to_photo(x) for x in c.lines], truths, reach_of(scale)),
        )
        for strip, c in found
    ]  # fmt: skip


def share_on_rubber(case: Case, edge: Edge) -> float:
    """Share of what is judged that is rubber by the truth."""
    rubber = np.zeros(edge.shape, np.uint8)
    for layer in case.truth["layers"]:
        if layer["kind"] == "rubber":
            fill_outline(rubber, np.asarray(layer["polygon_px"], np.float64), 1)
    return float(np.mean(rubber[edge.judged])) if edge.judged.any() else 0.0
