"""Crack search on open photographs taken as rubber; part of `bench_open_photos`.

No open photo among those at hand shows a crack with its truth, so two figures are taken on
the real photographs that scikit-image carries (their sources: `skimage/data/README.txt`):
proposals on the textures as they are, and recall on cracks of exact length that are
laid into them by darkening. The textures are no rubber; each is taken as one rubber layer
at an assumed 25 px/mm. Brick has real joints and grass real gaps, which are dark
lines: what is proposed there is false for rubber all the same. Nothing was tuned on these.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
import skimage.data
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from damagescore.damage import find_cracks
from damagescore.damage.record import Finding
from damagescore.edge.record import Edge, Layer
from damagescore.photo.along import places_along
from damagescore.photo.record import CameraFacts, Photo
from damagescore.quantity import Measured, NotMeasured
from damagescore.scale.record import Scale, SurfaceMap

Image = NDArray[np.float32]
Points = NDArray[np.float64]

PX_PER_MM = 25.0
"""Assumed: the textures have no scale."""

TEXTURES = {
    "brick": np.s_[:, :],
    "grass": np.s_[:, :],
    "gravel": np.s_[:, :],
    "moon": np.s_[:, :],
    "camera": np.s_[215:395, 140:250],  # the coat
    "chelsea": np.s_[190:300, 60:400],  # fur below the face
}
TRIALS = 6
"""Photos with laid-in cracks, a texture."""

REACH_PX = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A crack laid into a photo: its centre line in pixels and its length."""

    line_px: Points
    length_mm: float


def texture(name: str) -> Image:
    """Grey levels of one texture, 0 to 255."""
    colour = getattr(skimage.data, name)()
    grey = cv2.cvtColor(colour, cv2.COLOR_RGB2GRAY) if colour.ndim == 3 else colour
    return np.asarray(grey[TEXTURES[name]], np.float32)


def with_crack(grey: Image, rng: np.random.Generator) -> tuple[Image, Laid]:
    """Lay one wandering crack into a texture: 0.12 to 0.4 mm wide, tips to 0.05 mm."""
    height, width = grey.shape
    length_px = rng.uniform(0.35, 0.6) * min(width, 400)
    headings = np.cumsum(rng.normal(0, 0.06, int(length_px))) + rng.uniform(-0.5, 0.5)
    steps = np.column_stack([np.cos(headings), np.sin(headings)])
    line = np.cumsum(steps, axis=0)
    line -= (line.min(axis=0) + line.max(axis=0)) / 2
    line += np.array([width, height]) / 2 + rng.uniform(-0.1, 0.1, 2) * [width, height]
    line = line[np.all((line > 6) & (line < np.array([width, height]) - 6), axis=1)]
    peak_px = rng.uniform(0.12, 0.4) * PX_PER_MM
    along = np.linspace(0, 1, len(line))
    half_px = np.maximum(0.05 * PX_PER_MM, peak_px * np.sin(np.pi * along) ** 0.5) / 2
    shade = 1 - 0.88 * _cover(grey.shape, line, half_px)
    length_mm = float(np.sum(np.hypot(*np.diff(line, axis=0).T))) / PX_PER_MM
    return (grey * shade).astype(np.float32), Laid(line_px=line, length_mm=length_mm)


def _cover(shape: tuple[int, ...], line: Points, half_px: Points) -> Image:
    """Share of each pixel under a stroke of varying width, edges half a pixel soft."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    places = np.column_stack([x.ravel(), y.ravel()])
    away, nearest = cKDTree(line).query(places, distance_upper_bound=12.0)
    half = np.append(half_px, 0.0)[nearest]
    cover = np.clip(half - away + 0.5, 0, 1).reshape(shape)
    return np.asarray(cv2.GaussianBlur(cover.astype(np.float32), (0, 0), 0.7))


def proposals(grey: Image) -> tuple[Finding, ...]:
    """Search a texture as one rubber layer that fills the photo."""
    shown = np.clip(np.round(grey), 0, 255).astype(np.uint8)
    photo = Photo(
        name="texture.png", sha256="0" * 64, rgb=np.dstack([shown] * 3), grey=grey, bit_depth=8,
        camera=CameraFacts(),
    )  # fmt: skip
    height, width = grey.shape
    layer = Layer(
        index=0, kind="rubber", thickness=NotMeasured(reason="assumed", unit="mm"),
        upper_px=np.array([[0.0, 0.0], [width - 1.0, 0.0]]),
        lower_px=np.array([[0.0, height - 1.0], [width - 1.0, height - 1.0]]),
    )  # fmt: skip
    surface = SurfaceMap(px_to_mm=np.diag([1 / PX_PER_MM, 1 / PX_PER_MM, 1.0]))
    scale = Scale(
        method="two_points", surface=surface, centre_px=(width / 2, height / 2),
        u_relative=0.01, tilt_deg=None, marks=(),
    )  # fmt: skip
    return find_cracks(photo, Edge(layers=(layer,), shape=(height, width)), scale)


def laid_trials(name: str) -> Iterator[tuple[Image, Laid]]:
    rng = np.random.default_rng(sum(map(ord, name)))
    for _ in range(TRIALS):
        yield with_crack(texture(name), rng)


def recall_and_errors(name: str) -> tuple[float, list[float]]:
    """Share of the laid length that was found, and relative errors of the lengths.

    The length compared is that of all findings that run along the laid crack, so a
    finding that goes on into the texture counts with its whole length.
    """
    met, present, errors = 0.0, 0.0, []
    for grey, crack in laid_trials(name):
        present += crack.length_mm
        shares = [(share_met(f, crack), f) for f in proposals(grey)]
        met += crack.length_mm * min(1.0, sum(share for share, _ in shares))
        lengths = [f.quantities["length"] for share, f in shares if share > 0]
        if lengths:
            total = sum(x.value for x in lengths if isinstance(x, Measured))
            errors.append(total / crack.length_mm - 1)
    return met / present, errors


def share_met(finding: Finding, crack: Laid) -> float:
    away = cKDTree(places_along(finding.lines_px)).query(crack.line_px)[0]
    return float(np.mean(away <= REACH_PX))


def table() -> str:
    """One line a texture."""
    lines = [
        f"assumed {PX_PER_MM:.0f} px/mm; {TRIALS} laid cracks a texture\n",
        "| texture | cm² | false | false per 10 cm² | recall by length | length error |",
        "|---|---|---|---|---|---|",
    ]
    return "\n".join([*lines, *(_row(name) for name in TEXTURES)])


def _row(name: str) -> str:
    grey = texture(name)
    area_cm2 = grey.size / PX_PER_MM**2 / 100
    false = len(proposals(grey))
    recall, errors = recall_and_errors(name)
    error = f"{100 * np.median(np.abs(errors)):.1f} % median" if errors else "none found"
    return (
        f"| {name} | {area_cm2:.2f} | {false} | {10 * false / area_cm2:.1f} | "
        f"{100 * recall:.0f} % | {error} |"
    )
