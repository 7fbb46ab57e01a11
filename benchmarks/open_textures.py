"""Photographed textures laid into smooth rubber: patches of exactly known outline.

Source: scikit-image, `skimage.data`: "gravel", "brick" and "grass" are photographs of real
surfaces from a CC0 texture collection (see README.txt beside the package's data). Nothing
was tuned on them. A lawn and a brick wall are no crumbled rubber: grass asks how the area is
read when grains are thin, and bricks, 5 mm long with straight joints here, should rather be
left out than taken for grains. They are reported, not promised.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage import data

from damagescore.damage.crumbling import find_crumbling
from damagescore.damage.record import Finding
from damagescore.edge.record import Edge, Layer
from damagescore.photo import CameraFacts, Photo
from damagescore.photo.outline import fill_outline
from damagescore.quantity import Measured, NotMeasured
from damagescore.scale.record import Scale, SurfaceMap

Points = NDArray[np.float64]
Grey = NDArray[np.float64]

HEIGHT, WIDTH, PX_PER_MM = 300, 900, 20.0
TOPS = (20, 110, 200)  # layers of 4 mm, shims of 0.5 mm
THICK = 80
RUBBER_GREY = 62.0
TEXTURES = ("gravel", "brick", "grass")
HALF_LENGTHS_MM = (4.0, 6.0, 9.0, 12.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """One composite: its true area, what was found, and how far the outlines agree."""

    texture: str
    true_mm2: float
    area: Measured | None
    overlap: float

    @property
    def error(self) -> float:
        """Relative error of the area; -1 where nothing was found."""
        return -1.0 if self.area is None else self.area.value / self.true_mm2 - 1

    @property
    def inside_95(self) -> bool:
        area = self.area
        return area is not None and abs(area.value - self.true_mm2) <= 1.96 * area.u


def edge_of() -> Edge:
    """Three rubber layers with shims between, level."""
    x = np.array([0.0, WIDTH - 1.0])
    layers = [
        Layer(
            index=4 - 2 * k, kind="rubber",
            upper_px=np.column_stack([x, [top, top]]),
            lower_px=np.column_stack([x, [top + THICK, top + THICK]]),
            thickness=NotMeasured(reason="drawn", unit="mm"),
        )
        for k, top in enumerate(TOPS)
    ]  # fmt: skip
    return Edge(layers=tuple(layers[::-1]), shape=(HEIGHT, WIDTH))


def scale_of() -> Scale:
    """20 px/mm, seen straight on."""
    return Scale(
        method="squares",
        surface=SurfaceMap(px_to_mm=np.diag([1 / PX_PER_MM, 1 / PX_PER_MM, 1.0])),
        centre_px=(WIDTH / 2, HEIGHT / 2), u_relative=0.003, tilt_deg=0.0, marks=(),
    )  # fmt: skip


def rubber() -> Grey:
    """Smooth mottled rubber between bright shims."""
    rng = np.random.default_rng(2)
    grey = np.full((HEIGHT, WIDTH), 185.0)
    for top in TOPS:
        grey[top : top + THICK] = RUBBER_GREY
    mottle = cv2.GaussianBlur(rng.normal(0, 1, grey.shape), (0, 0), 10)
    return np.asarray(grey * np.exp(0.06 * mottle / mottle.std()))


def outline(half_mm: float, *, seed: int = 0) -> Points:
    """A wavy ellipse in the middle layer, 3 mm high."""
    shift = np.random.default_rng(seed).uniform(0, 6, 2) * (seed > 0)
    t = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    wave = 1 + 0.07 * np.sin(4 * t + shift[0]) + 0.05 * np.sin(7 * t + shift[1])
    half = half_mm * PX_PER_MM
    return np.column_stack([450 + half * wave * np.cos(t), 150 + 30 * wave * np.sin(t)])


def laid_in(texture: NDArray[np.uint8], polygon: Points, *, deep: bool) -> Grey:
    """Lay a texture into the rubber; `deep` darkens it as lost rubber is, by its gaps."""
    tile = np.tile(texture.astype(np.float64), (1, 2))[:HEIGHT, :WIDTH]
    level = RUBBER_GREY * tile / (np.percentile(tile, 95) if deep else np.median(tile))
    inside = np.zeros((HEIGHT, WIDTH), np.float32)
    cv2.fillPoly(inside, [np.round(polygon * 16).astype(np.int32)], (1.0,), cv2.LINE_AA, 4)
    return np.asarray(rubber() * (1 - inside) + level * inside)


def found_in(grey: Grey) -> tuple[Finding, ...]:
    """Crumbling found after the blur and noise of a camera."""
    noise = np.random.default_rng(9).normal(0, 1.2, grey.shape)
    seen = np.clip(np.rint(cv2.GaussianBlur(grey, (0, 0), 0.7) + noise), 0, 255)
    photo = Photo(
        name="x", sha256="0", rgb=np.repeat(seen.astype(np.uint8)[:, :, None], 3, axis=2),
        grey=seen.astype(np.float32), bit_depth=8, camera=CameraFacts(),
    )  # fmt: skip
    return find_crumbling(photo, edge_of(), scale_of())


def mask_of(polygon: Points) -> NDArray[np.bool_]:
    """Pixels inside an outline."""
    mask = np.zeros((HEIGHT, WIDTH), np.uint8)
    fill_outline(mask, polygon, 1)
    return mask > 0


def trial_of(texture: str, half_mm: float, *, seed: int = 0) -> Trial:
    """Lay one texture in, look for it and compare."""
    polygon = outline(half_mm, seed=seed)
    found = found_in(laid_in(getattr(data, texture)(), polygon, deep=True))
    laid = mask_of(polygon)
    mine = np.zeros_like(laid)
    for finding in found:
        assert finding.polygon_px is not None
        mine |= mask_of(finding.polygon_px)
    areas = [f.quantities["area"] for f in found]
    known = [a for a in areas if isinstance(a, Measured)]
    value, u = sum(a.value for a in known), sum(a.u for a in known)
    return Trial(
        texture=texture, true_mm2=float(laid.sum()) / PX_PER_MM**2,
        area=Measured(value=value, u=u, unit="mm2") if known else None,
        overlap=float((laid & mine).sum() / (laid | mine).sum()),
    )  # fmt: skip


def trials() -> Iterator[Trial]:
    """Every texture at four lengths and three shapes."""
    for texture in TEXTURES:
        for half_mm in HALF_LENGTHS_MM:
            for seed in range(3):
                yield trial_of(texture, half_mm, seed=seed)


def false_areas() -> int:
    """Areas found where nothing is crumbled: smooth rubber, stains, a smooth photograph."""
    smooth = cv2.GaussianBlur(data.moon(), (0, 0), 2)[60:360]
    stains = [cv2.GaussianBlur(getattr(data, t)(), (0, 0), 40) for t in TEXTURES]
    scenes = [rubber(), *(laid_in(s, outline(8.0), deep=False) for s in (smooth, *stains))]
    return sum(len(found_in(grey)) for grey in scenes)


def table() -> str:
    """Area error and overlap for each texture, and the false areas."""
    every = list(trials())
    lines = [
        "| texture | composites | area error, median | p90 | overlap | in 95 % interval |",
        "|---|---|---|---|---|---|",
    ]
    for name in TEXTURES:
        mine = [t for t in every if t.texture == name]
        errors = 100 * np.abs([t.error for t in mine])
        lines.append(
            f"| {name} | {len(mine)} | {np.median(errors):.1f} % | "
            f"{np.percentile(errors, 90):.1f} % | {np.median([t.overlap for t in mine]):.2f} | "
            f"{sum(t.inside_95 for t in mine)} of {len(mine)} |"
        )
    return "\n".join([*lines, "", f"False areas on five smooth scenes: {false_areas()}"])
