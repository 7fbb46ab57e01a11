"""Our line filters beside the same filter bank by SciPy: `python -m benchmarks.bench_filters`.

Both see the same array: grain with drawn cracks, one layer of 3.5 mm by 80 mm at 25
samples per millimetre. The plain way smooths, correlates with a kernel for each angle,
shifts to both sides and takes medians with `scipy.ndimage` and NumPy, at full fineness
and on all samples. Best of three runs of each; then the correlation of both answers and
the share of places that pass the same limit in both.
"""

import math
import os
import platform
import sys

import cv2
import numpy as np
import scipy
from numpy.typing import NDArray
from scipy import ndimage

from benchmarks.stopwatch import best_s
from damagescore.damage.line_filter import AHEAD, ORIENTATIONS, SIDE, line_answer
from damagescore.damage.ridge import LINE_SPREADS_MM

Image = NDArray[np.float32]
SIZE = (88, 2000)
PX_PER_MM = 25.0
LIMIT = 5.0
"""A response of so many robust spreads counts as line-like."""


def drawn_layer(seed: int = 7) -> Image:
    """Relative darkness of grainy rubber with eight cracks of 0.08 to 0.4 mm."""
    rng = np.random.default_rng(seed)
    dark = ndimage.gaussian_filter(rng.normal(0, 0.2, SIZE), 0.8).astype(np.float32)
    for k in range(8):
        steps = np.cumsum(rng.normal(0, 0.35, (160, 2)), axis=0)
        along = np.column_stack([np.arange(160), np.zeros(160)])
        start = np.array([40 + 240 * k, rng.uniform(20, 68)])
        line = np.round((start + along + steps) * 16).astype(np.int32)
        width = max(1, round(rng.uniform(0.08, 0.4) * PX_PER_MM))
        cv2.polylines(dark, [line], False, 0.8, width, cv2.LINE_AA, 4)
    return np.asarray(np.clip(dark, -1, 1), np.float32)


def our_way(dark: Image) -> Image:
    """Strongest answer of both filter sizes, as the search takes it."""
    judged = np.ones(dark.shape, bool)
    answers = [line_answer(dark, judged, spread_px=s * PX_PER_MM) for s in LINE_SPREADS_MM]
    return np.maximum(answers[0].z, answers[1].z)


def plain_way(dark: Image) -> Image:
    """The same filter bank by SciPy alone."""
    best = np.full(dark.shape, -np.inf, np.float32)
    for spread_mm in LINE_SPREADS_MM:
        spread = spread_mm * PX_PER_MM
        smooth = ndimage.gaussian_filter(dark, spread, mode="mirror")
        for turn in range(ORIENTATIONS):
            angle = turn * math.pi / ORIENTATIONS
            line = ndimage.correlate(smooth, _kernel(angle, spread), mode="nearest")
            dx, dy = (
                round(-SIDE * spread * math.sin(angle)),
                round(SIDE * spread * math.cos(angle)),
            )
            sides = [
                ndimage.shift(line, (k * dy, k * dx), order=0, mode="nearest") for k in (-1, 1)
            ]
            answer = line - np.maximum(*sides)
            middle = np.median(answer)
            unit = 1.4826 * np.median(np.abs(answer - middle))
            best = np.maximum(best, (answer - middle) / unit)
    return best


def _kernel(angle: float, spread: float) -> Image:
    """The places along a line as a correlation kernel."""
    reach = math.ceil(AHEAD[-1] * spread) + 1
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1), np.float32)
    for t in AHEAD * spread:
        row, column = round(t * math.sin(angle)), round(t * math.cos(angle))
        kernel[reach + row, reach + column] += 1 / len(AHEAD)
    return kernel


def main() -> int:
    """Time both ways and compare what they say."""
    dark = drawn_layer()
    ours, plain = our_way(dark), plain_way(dark)
    ours_s, plain_s = (best_s(lambda w=way: w(dark), repeats=3) for way in (our_way, plain_way))
    inner = np.s_[12:-12, 12:-12]  # the ways differ in how they go on beyond the rim
    same = float(np.corrcoef(ours[inner].ravel(), plain[inner].ravel())[0, 1])
    a, b = ours[inner] > LIMIT, plain[inner] > LIMIT
    print(
        f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, "
        f"OpenCV {cv2.__version__}, SciPy {scipy.__version__}\n"
        f"{SIZE[0]} x {SIZE[1]} samples, {len(LINE_SPREADS_MM)} sizes, {ORIENTATIONS} angles\n"
        f"ours    {1000 * ours_s:7.1f} ms\nplain   {1000 * plain_s:7.1f} ms\n"
        f"times faster  {plain_s / ours_s:.1f}\ncorrelation   {same:.4f}\n"
        f"line-like places shared  {np.sum(a & b) / np.sum(a | b):.3f}"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
