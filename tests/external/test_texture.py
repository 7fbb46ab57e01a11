"""Crumbling on photographed textures instead of drawn ones.

Source: scikit-image 0.26, `skimage.data` (files that come with the package): "gravel" is a
photograph of a real surface from a CC0 texture collection, "moon" a photograph of a smooth
one with few features (see README.txt beside the package's data; seen 2026-11). Gravel is
laid into sound rubber as a stand-in for crumbled relief: real grains with real gaps, of which
the area laid in is exactly known.
Tolerance: 15 % of area and 0.8 of overlap are the aim of the method itself.
"""

import cv2
import numpy as np
import pytest
from skimage import data

from damagescore.damage.crumbling import find_crumbling
from damagescore.damage.record import Finding
from damagescore.edge.record import Edge, Layer
from damagescore.photo import CameraFacts, Photo
from damagescore.quantity import NotMeasured
from damagescore.scale.record import Scale, SurfaceMap

HEIGHT, WIDTH, PX_PER_MM = 300, 900, 20.0
TOPS = (20, 110, 200)  # layers of 4 mm, shims of 0.5 mm


def edge_of() -> Edge:
    x = np.array([0.0, WIDTH - 1.0])
    layers = [
        Layer(
            index=4 - 2 * k, kind="rubber",
            upper_px=np.column_stack([x, [top, top]]),
            lower_px=np.column_stack([x, [top + 80, top + 80]]),
            thickness=NotMeasured(reason="drawn", unit="mm"),
        )
        for k, top in enumerate(TOPS)
    ]  # fmt: skip
    return Edge(layers=tuple(layers[::-1]), shape=(HEIGHT, WIDTH))


def scale_of() -> Scale:
    return Scale(
        method="squares",
        surface=SurfaceMap(px_to_mm=np.diag([1 / PX_PER_MM, 1 / PX_PER_MM, 1.0])),
        centre_px=(WIDTH / 2, HEIGHT / 2), u_relative=0.003, tilt_deg=0.0, marks=(),
    )  # fmt: skip


def rubber() -> np.ndarray:
    rng = np.random.default_rng(2)
    grey = np.full((HEIGHT, WIDTH), 185.0)
    for top in TOPS:
        grey[top : top + 80] = 62.0
    mottle = cv2.GaussianBlur(rng.normal(0, 1, grey.shape), (0, 0), 10)
    return grey * np.exp(0.06 * mottle / mottle.std())


def laid_in(texture: np.ndarray, polygon: np.ndarray, *, deep: bool) -> np.ndarray:
    """Lay a texture into the rubber; `deep` darkens it as lost rubber is, by its gaps."""
    tile = np.tile(texture.astype(float), (1, 2))[:HEIGHT, :WIDTH]
    level = 62.0 * tile / (np.percentile(tile, 95) if deep else np.median(tile))
    inside = np.zeros((HEIGHT, WIDTH), np.float32)
    cv2.fillPoly(inside, [np.round(polygon * 16).astype(np.int32)], 1.0, cv2.LINE_AA, 4)
    return rubber() * (1 - inside) + level * inside


def found_in(grey: np.ndarray) -> tuple[Finding, ...]:
    noise = np.random.default_rng(9).normal(0, 1.2, grey.shape)
    seen = np.clip(np.rint(cv2.GaussianBlur(grey, (0, 0), 0.7) + noise), 0, 255)
    photo = Photo(
        name="x", sha256="0", rgb=np.repeat(seen.astype(np.uint8)[:, :, None], 3, axis=2),
        grey=seen.astype(np.float32), bit_depth=8, camera=CameraFacts(),
    )  # fmt: skip
    return find_crumbling(photo, edge_of(), scale_of())


def outline(half_mm: float) -> np.ndarray:
    t = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    wave = 1 + 0.07 * np.sin(4 * t) + 0.05 * np.sin(7 * t)
    half = half_mm * PX_PER_MM
    return np.column_stack([450 + half * wave * np.cos(t), 150 + 30 * wave * np.sin(t)])


def mask_of(polygon: np.ndarray) -> np.ndarray:
    mask = np.zeros((HEIGHT, WIDTH), np.uint8)
    cv2.fillPoly(mask, [np.round(polygon * 16).astype(np.int32)], 1, shift=4)
    return mask > 0


@pytest.mark.parametrize("half_mm", [4.0, 7.0, 12.0])
def test_gravel_is_crumbling_and_its_area_is_right(half_mm: float) -> None:
    polygon = outline(half_mm)
    (finding,) = found_in(laid_in(data.gravel(), polygon, deep=True))
    laid, found = mask_of(polygon), mask_of(finding.polygon_px)
    assert finding.layer == 2
    assert finding.quantities["area"].value == pytest.approx(
        laid.sum() / PX_PER_MM**2, rel=0.15
    )
    assert (laid & found).sum() / (laid | found).sum() > 0.8


def test_a_smooth_photograph_is_not_crumbling() -> None:
    smooth = cv2.GaussianBlur(data.moon(), (0, 0), 2)[60:360]
    assert found_in(laid_in(smooth, outline(8.0), deep=False)) == ()


def test_blurred_gravel_is_not_crumbling() -> None:
    """The same grey levels without grains (2 mm blur) are a stain."""
    stain = cv2.GaussianBlur(data.gravel(), (0, 0), 40)
    assert found_in(laid_in(stain, outline(8.0), deep=False)) == ()


def test_bright_gravel_is_dust_not_lost_rubber() -> None:
    """Brighter than rubber throughout: something lying on it."""
    gravel = data.gravel().astype(float)
    bright = gravel / gravel.min().clip(40) + 1
    polygon = outline(8.0)
    grey = rubber()
    inside = mask_of(polygon)
    tile = np.tile(bright, (1, 2))[:HEIGHT, :WIDTH]
    grey[inside] = np.clip(62.0 * tile, 66, 240)[inside]
    assert found_in(grey) == ()
