"""The chance that a patch is crumbled: its terms, and what each is there to tell."""

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
import pytest

from damagescore.damage.crumbling_chance import (
    MOST_STANDS_OUT,
    chance_of,
    fitted_model,
    terms_of,
)
from damagescore.damage.crumbling_evidence import CLUES, Evidence, evenness, evidence_of
from damagescore.damage.crumbling_outline import Outline
from damagescore.damage.crumbling_strip import cut_strip
from tests.unit.test_crumbling import edge_of, photo_of, rubber, scale_of

PLAIN = {
    "even 1.0": 2.4, "dark even 1.0": 2.2, "darker": 0.15, "aligned": 0.15,
    "bright over dark": -0.8, "contrast": -4.0, "dark coarse": 2.5, "dark fine": 2.2,
    "bright coarse": 2.0, "bright fine": 1.6,
}  # fmt: skip
"""About the medians of the patches that were fitted on."""


SQUARE = ((0, 0), (38, 0), (38, 38), (0, 38))


def evidences(grey: np.ndarray) -> tuple[Evidence, ...]:
    photo, edge = photo_of(grey), edge_of()
    strips = (cut_strip(photo, edge, layer=x, scale=scale_of()) for x in edge.rubber)
    return evidence_of(tuple(s for s in strips if s is not None), edge.shape)


@pytest.fixture(scope="module")
def evidence() -> Evidence:
    return evidences(rubber())[0]


def patch(
    *,
    undecided: float = 0.18,
    stands_out: float = 10.0,
    polygon: Sequence[tuple[int, int]] = SQUARE,
    **clues: float,
) -> Outline:
    """A patch whose clues are those of a plain one, but for some."""
    seen = PLAIN | {name.replace("_", " "): value for name, value in clues.items()}
    return Outline(
        polygon_px=np.array(polygon, np.float64), area_mm2=10.0, undecided=undecided,
        usual=np.array([seen.get(name, 0.0) for name in CLUES], np.float32),
        odds=np.zeros((1, 1), np.float32), aligned=np.zeros((1, 1), np.float32),
        corner=(0, 0), stands_out=stands_out,
    )  # fmt: skip


def test_the_fitted_model_weighs_the_terms_there_are(evidence: Evidence) -> None:
    assert set(fitted_model().terms) == set(terms_of(evidence, patch()))


def test_a_layer_tells_its_thickness(evidence: Evidence) -> None:
    assert evidence.thickness_mm == pytest.approx(3.5, abs=0.1)  # a pixel is 0.083 mm


def test_one_rough_layer_of_four_hardly_moves_what_is_usual(evidence: Evidence) -> None:
    grains = cv2.GaussianBlur(np.random.default_rng(8).normal(0, 1, (420, 1000)), (0, 0), 2.0)
    grey = rubber()
    grey[120:190] *= np.exp(0.25 * grains / grains.std())[120:190].astype(np.float32)
    (layer,) = [e for e in evidences(grey) if e.strip.layer.index == 4]
    own = float(np.median(evenness(layer, channels=6)[layer.strip.sure]))
    for usual, scatter in (evidence.usual, layer.usual):
        assert usual + 4 * scatter < own
        assert usual < 0.8  # log(1 + CALM) = 0.26 where all is as sound rubber is


def test_a_plain_patch_is_one(evidence: Evidence) -> None:
    assert chance_of(evidence, patch()) > 0.95


@pytest.mark.parametrize(
    "unlike",
    [
        {"aligned": 0.88},  # a wide crack
        {"bright over dark": 2.4},  # dust, chalk, lint
        {"even 1.0": 0.5, "dark even 1.0": 0.4, "darker": 0.3, "contrast": -5.5},  # a stain
        {"even 1.0": 0.4, "dark even 1.0": 0.3, "contrast": -6.5, "stands_out": 1.0},  # a tone
    ],
)
def test_look_alikes_are_none(evidence: Evidence, unlike: dict[str, float]) -> None:
    assert chance_of(evidence, patch(**unlike)) < 0.5


def test_no_term_rejects_a_patch_by_itself(evidence: Evidence) -> None:
    """Each by as much as the search once asked for at least, or a little more."""
    for doubt in (
        {"darker": -0.01},
        {"aligned": 0.6},
        {"undecided": 0.45},
        {"bright over dark": 0.4},
        {"stands_out": 4.5},
        {"even 1.0": 1.5, "dark even 1.0": 1.4},
    ):
        assert chance_of(evidence, patch(**doubt)) > 0.5, doubt


def test_a_border_that_is_not_placed_yet_may_stand_out(evidence: Evidence) -> None:
    faint = {"even 1.0": 1.3, "dark even 1.0": 1.2}
    most = chance_of(evidence, patch(stands_out=MOST_STANDS_OUT, **faint))
    assert chance_of(evidence, patch(stands_out=np.inf, **faint)) == most
    assert chance_of(evidence, patch(stands_out=-np.inf, **faint)) < most


def test_a_rough_photo_asks_for_more(evidence: Evidence) -> None:
    rough = replace(evidence, usual=(2.0, 0.8))
    faint = patch(**{"even 1.0": 1.3, "dark even 1.0": 1.2})
    assert chance_of(rough, faint) < chance_of(evidence, faint)


def test_the_breadth_of_a_disc_is_its_radius_and_of_a_band_its_breadth() -> None:
    turns = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    disc = replace(
        patch(),
        polygon_px=20 * np.column_stack([np.cos(turns), np.sin(turns)]),
        area_mm2=np.pi * 4.0,
    )
    assert disc.breadth_mm == pytest.approx(2.0, rel=1e-3)  # 20 px at 10 px/mm
    band = replace(patch(polygon=((0, 0), (1000, 0), (1000, 5), (0, 5))), area_mm2=50.0)
    assert band.breadth_mm == pytest.approx(0.5, rel=0.01)  # its two ends count too


def test_a_narrow_patch_is_a_wide_crack_rather(evidence: Evidence) -> None:
    # 10 mm2 that are 0.35 mm broad, against 10 mm2 of a square
    narrow = patch(polygon=((0, 0), (1000, 0), (1000, 12), (0, 12)))
    assert narrow.breadth_mm < 0.4
    assert chance_of(evidence, narrow) < chance_of(evidence, patch())
    assert terms_of(evidence, patch())["narrow"] == 0.0
