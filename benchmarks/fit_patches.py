"""Fit the chance that an outlined patch is crumbled rubber, from photos with truth.

`python -m benchmarks.fit_patches FOLDER:FROM:TO...`; FROM and TO choose the photos of a folder
by number (TO left out), the others stay for checking. Every candidate of every good face photo
and close-up (`benchmarks.crumbled_closeups`) counts once, so that the chance is right for
photos like these. Writes `damagescore/damage/crumbling_chance.toml`.
"""

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from tqdm import tqdm

from benchmarks.candidates import chosen
from benchmarks.fit_border import view_of
from benchmarks.fit_confidence import best_penalty, fitted, written
from damagescore.damage.crumbling import CrumblingRule, patches_in, plainest_of
from damagescore.damage.crumbling_border import place_border
from damagescore.damage.crumbling_chance import MODEL, terms_of
from damagescore.damage.crumbling_closeup import closeup_of
from damagescore.damage.crumbling_evidence import evidence_of
from damagescore.damage.crumbling_strip import cut_strip
from damagescore.photo import read_photo
from damagescore.photo.outline import fill_outline
from damagescore.scenes.reading import Case, cases_in

REAL, UNREAL = 0.7, 0.3
"""Shares of a candidate that are crumbled, from which and below which it tells plainly."""

RULE = CrumblingRule(least_chance=0.0)
"""Whatever the search weighs."""

ABOUT = """\
Chance that a patch is crumbled rubber; see damagescore/damage/crumbling_chance.py.
Made by: python -m benchmarks.fit_patches"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A patch that the search weighs: its terms, and whether it is crumbled."""

    photo: str
    values: dict[str, float]
    real: bool


def candidates_of(case: Case) -> Iterator[Candidate]:
    """Candidates of one photo; none where it is refused."""
    photo = read_photo(case.path)
    known = view_of(case, photo)
    if known is None:
        return
    edge, scale = known
    true = np.zeros(edge.shape, np.uint8)
    for patch in case.truth["crumbling"]:
        for polygon in patch["polygons_px"]:
            fill_outline(true, np.array(polygon), 1)
    cut = (cut_strip(photo, edge, layer=x, scale=scale) for x in edge.rubber)
    for evidence in evidence_of(tuple(s for s in cut if s is not None), edge.shape):
        for patch in patches_in(evidence, RULE):
            # Of one that is unlikely the search tries its plainest part as well.
            for tried in filter(None, (patch, plainest_of(patch, evidence, RULE))):
                closeup = closeup_of(photo, *known, evidence=evidence, outline=tried.outline)
                outline = place_border(closeup, tried.outline)
                share = _share(outline.polygon_px, true)
                if outline.stands_out >= RULE.least_stands_out and not UNREAL <= share < REAL:
                    yield Candidate(
                        photo=case.path.stem, values=terms_of(evidence, outline),
                        real=share >= REAL,
                    )  # fmt: skip


def _share(polygon_px: NDArray[np.float64], true: NDArray[np.uint8]) -> float:
    """Share of what an outline encloses that is crumbled."""
    within = np.zeros(true.shape, np.uint8)
    fill_outline(within, polygon_px, 1)
    return float(np.mean(true[within > 0])) if within.any() else 0.0


def cases_of(text: str) -> Iterator[Case]:
    """Good face photos and close-ups of FOLDER:FROM:TO."""
    folder, numbers = chosen(text)
    for case in cases_in(folder):
        number = int(case.path.stem.rsplit("-", 1)[-1])
        sharp = case.good or not case.truth["markers"]
        if number in numbers and sharp and case.truth["view"] == "face":
            yield case


def main() -> int:
    """Read the folders, choose the penalty, fit and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", nargs="+", help="FOLDER:FROM:TO")
    given = parser.parse_args().sets
    seen: list[Candidate] = []
    for text in given:
        for case in tqdm(list(cases_of(text)), unit="photo", file=sys.stderr, disable=None):
            seen += candidates_of(case)
    penalty, loss = best_penalty(seen)
    model = fitted(seen, penalty=penalty)
    MODEL.write_text(written(model, seen, given, penalty, about=ABOUT), encoding="utf-8")
    print(f"{len(seen)} candidates, penalty {penalty}, loss on photos left out {loss:.4f}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
