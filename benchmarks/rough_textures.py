"""Rough drawn surfaces on which the crack search is developed; no open photo is among them.

Real surfaces have dark lines of their own, which rubber in the drawn scenes hardly has.
Each kind is noise with an order of its own, from a seed; `benchmarks.open_cracks` lays the
cracks. Prints recall and length error: `python -m benchmarks.rough_textures`.
"""

from collections.abc import Callable, Mapping

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from benchmarks.open_cracks import Laid, proposals, share_met, with_crack
from damagescore.quantity import Measured

Image = NDArray[np.float32]

SHAPE = (420, 480)
TRIALS = 8


def cloudy(rng: np.random.Generator) -> Image:
    """Noise whose amplitude falls with the frequency to a power of 1.0 to 1.6."""
    rows, columns = (np.fft.fftfreq(n)[:, None] for n in SHAPE)
    frequency = np.maximum(np.hypot(rows, columns.T), 1 / max(SHAPE))
    drawn = np.fft.fft2(rng.normal(size=SHAPE)) / frequency ** rng.uniform(1.0, 1.6)
    drawn[0, 0] = 0
    return _even(np.fft.ifft2(drawn).real)


def fibrous(rng: np.random.Generator) -> Image:
    """Fibres along one direction, some bent."""
    angle, kernel = rng.uniform(0, np.pi), np.zeros((61, 61), np.float32)
    reach = 26 * np.array([np.cos(angle), np.sin(angle)])
    a, b = (tuple(int(v) for v in np.round(30 + s * reach)) for s in (-1, 1))
    cv2.line(kernel, a, b, 1.0)
    fibres = cv2.filter2D(rng.normal(size=SHAPE).astype(np.float32), -1, kernel)
    shift = (12 * cloudy(rng)).astype(np.float32)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(np.float32)
    shift = cv2.GaussianBlur(shift, (0, 0), 6.0)
    bent = cv2.remap(
        fibres, x + shift, y + shift[::-1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
    )
    return _even(cv2.GaussianBlur(bent, (0, 0), rng.uniform(1.2, 2.5)))


def grainy(rng: np.random.Generator) -> Image:
    """Crumbs with dark gaps between them, each crumb of its own shade."""
    size_px = rng.uniform(14, 40)
    count = int(SHAPE[0] * SHAPE[1] / size_px**2)
    middles = rng.uniform(0, 1, (count, 2)) * np.array(SHAPE)
    places = np.stack(np.mgrid[: SHAPE[0], : SHAPE[1]], axis=-1).reshape(-1, 2)
    away, nearest = cKDTree(middles).query(places, k=2)
    gap = np.exp(-(((away[:, 1] - away[:, 0]) / rng.uniform(3, 8)) ** 2))
    shade = rng.normal(0, 0.5, count)[nearest[:, 0]] - rng.uniform(1.0, 2.5) * gap
    return _even(cv2.GaussianBlur(shade.reshape(SHAPE).astype(np.float32), (0, 0), 1.5))


def pitted(rng: np.random.Generator) -> Image:
    """Round hollows of many sizes, dark on one side and bright on the other."""
    height = np.zeros(SHAPE, np.float32)
    for _ in range(250):
        middle = rng.uniform(0, 1, 2) * np.array(SHAPE[::-1])
        radius = int(min(4 * rng.pareto(1.5) + 5, 50))
        hollow = np.zeros(SHAPE, np.float32)
        cv2.circle(hollow, (int(middle[0]), int(middle[1])), radius, -1.0, -1)
        height += cv2.GaussianBlur(hollow, (0, 0), 0.2 * radius) * radius**0.5
    lit = cv2.Sobel(height, -1, 1, 0, ksize=3) + cv2.Sobel(height, -1, 0, 1, ksize=3)
    return _even(_even(lit) + 0.3 * cloudy(rng))


def veined(rng: np.random.Generator) -> Image:
    """Wandering dark veins, where a cloud passes through its middle."""
    smooth = _even(cv2.GaussianBlur(rng.normal(size=SHAPE), (0, 0), rng.uniform(6, 16)))
    vein = np.exp(-((smooth / rng.uniform(0.1, 0.25)) ** 2)) * (1 + 0.4 * cloudy(rng))
    return _even(0.3 * cloudy(rng) - vein)


def jointed(rng: np.random.Generator) -> Image:
    """Courses of blocks with uneven joints."""
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(np.float32)
    wave = 3 * cloudy(rng)
    course = (y + wave) % 70
    along = (x + wave[::-1] + 60 * ((y + wave) // 70 % 2)) % 120
    joint = np.minimum(np.abs(course - 35), np.abs(along - 60)) < 4
    return _even(cloudy(rng) - 1.5 * cv2.GaussianBlur(joint.astype(np.float32), (0, 0), 2.0))


KINDS: Mapping[str, Callable[[np.random.Generator], Image]] = {
    "cloudy": cloudy, "fibrous": fibrous, "grainy": grainy,
    "pitted": pitted, "veined": veined, "jointed": jointed,
}  # fmt: skip


def _even(drawn: Image) -> Image:
    """Mean 0 and spread 1."""
    return np.asarray((drawn - drawn.mean()) / drawn.std(), np.float32)


def trial(kind: str, number: int) -> tuple[Image, Laid]:
    """One surface with a laid crack; its roughness is 15 to 50 % of its light."""
    rng = np.random.default_rng([sum(map(ord, kind)), number])
    roughness = rng.uniform(0.15, 0.5)
    grey = 120 * np.clip(1 + roughness * KINDS[kind](rng), 0.1, 2.0)
    return with_crack(np.asarray(grey, np.float32), rng)


def row(kind: str) -> str:
    """Recall by length and median length error of all cracks laid into a kind."""
    met, present, errors = 0.0, 0.0, []
    for number in range(TRIALS):
        grey, crack = trial(kind, number)
        shares = [(share_met(f, crack), f) for f in proposals(grey)]
        present += crack.length_mm
        met += crack.length_mm * min(1.0, sum(share for share, _ in shares))
        lengths = [f.quantities["length"] for share, f in shares if share > 0]
        if lengths:
            total = sum(x.value for x in lengths if isinstance(x, Measured))
            errors.append(abs(total / crack.length_mm - 1))
    error = f"{100 * np.median(errors):.1f} % median" if errors else "none found"
    return f"| {kind} | {100 * met / present:.0f} % | {error} |"


def main() -> None:
    """Print one line a kind."""
    print("| surface | recall by length | length error |\n|---|---|---|")
    for kind in KINDS:
        print(row(kind))


if __name__ == "__main__":
    main()
