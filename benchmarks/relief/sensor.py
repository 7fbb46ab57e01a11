"""From radiance to a JPEG: lens blur, exposure, noise, tone."""

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks.relief.ranges import Ranges

Picture = NDArray[np.float32]


def exposed(radiance: Picture, ranges: Ranges, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Stored grey levels, shape (H, W, 3) in RGB, from linear radiance."""
    light = cv2.GaussianBlur(radiance, (0, 0), rng.uniform(*ranges.blur_px))
    light *= _falloff(light.shape[:2], rng.uniform(0.0, 0.18))[..., None]
    light *= rng.uniform(0.55, 0.8) / np.percentile(light.max(axis=2), 96)
    light *= np.array([1 + rng.normal(0, 0.02), 1.0, 1 + rng.normal(0, 0.03)], np.float32)
    light = _noisy(light, rng.uniform(*ranges.noise), rng)
    soft = cv2.GaussianBlur(light, (0, 0), 1.2)
    light = np.clip(light + rng.uniform(0.1, 0.5) * (light - soft), 0, None)
    shoulder = light / (1 + np.clip(light - 0.6, 0, None) * 0.7)
    stored = np.where(
        shoulder < 0.0031308, 12.92 * shoulder, 1.055 * np.power(shoulder, 1 / 2.4) - 0.055
    )
    stored = np.clip(stored, 0, 1)
    stored += (
        rng.uniform(0.15, 0.4) * stored * (1 - stored) * (2 * stored - 1)
    )  # a camera's contrast
    return np.round(np.clip(stored, 0, 1) * 255).astype(np.uint8)


def _falloff(shape: tuple[int, int], depth: float) -> Picture:
    y, x = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j]
    return (1 - depth * (x**2 + y**2) / 2).astype(np.float32)


def _noisy(light: Picture, level: float, rng: np.random.Generator) -> Picture:
    """Shot and read noise, slightly alike between neighbours as after demosaicing."""
    grain = rng.normal(size=light.shape).astype(np.float32)
    grain = 1.6 * cv2.GaussianBlur(grain, (0, 0), 0.55)
    return light + grain * level * np.sqrt(np.clip(light, 0, None) + 0.02) * 1.4


def write_jpeg(path: Path, rgb: NDArray[np.uint8], quality: int) -> None:
    cv2.imwrite(str(path), rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
