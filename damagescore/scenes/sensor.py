"""Lens and sensor: focus, vignetting, exposure, tone curve, noise, sharpening."""

from itertools import pairwise

import cv2
import numpy as np

from damagescore.scenes.noise import Field
from damagescore.scenes.spec import SensorSpec


def defocus(
    photo: Field, away_mm: Field, *, px_per_mm_away: float, least_px: float = 0.0
) -> Field:
    """Blur that grows with the distance from the focus plane, blended between levels.

    `least_px` (gaussian sigma) is the blur in focus; strong blur uses a disc, as an open
    aperture does.
    """
    sigma = np.hypot(least_px, px_per_mm_away * np.abs(away_mm)).astype(np.float32)
    least = float(max(0.35, sigma.min()))
    levels = [least]
    while levels[-1] < min(float(sigma.max()), 12.0):
        levels.append(levels[-1] * 2.0)
    sharp = _blur(photo, levels[0])
    for low, high in pairwise(levels):
        share = np.clip((sigma - low) / (high - low), 0, 1)
        rows = np.flatnonzero(share.max(axis=1) > 0.02)
        if not len(rows):
            continue
        pad = int(3 * high) + 2
        top, end = max(0, rows[0] - pad), min(photo.shape[0], rows[-1] + pad + 1)
        soft = _blur(photo[top:end], high)
        sharp[top:end] += share[top:end, :, None] * (soft - sharp[top:end])
    return sharp


def _blur(photo: Field, sigma: float) -> Field:
    if sigma < 2.5:
        return np.asarray(cv2.GaussianBlur(photo, (0, 0), sigma), np.float32)
    radius = 2.0 * sigma  # a disc of radius r has a standard deviation of r / 2 per axis
    size = 2 * int(np.ceil(radius)) + 1
    y, x = np.mgrid[:size, :size] - size // 2
    disc = np.clip(radius - np.hypot(x, y) + 0.5, 0, 1).astype(np.float32)
    return np.asarray(
        cv2.filter2D(photo, -1, disc / disc.sum(), borderType=cv2.BORDER_REFLECT), np.float32
    )


def vignette(photo: Field, strength: float) -> None:
    """Darken towards the corners (in place) by `strength` at the corner."""
    rows, cols = photo.shape[:2]
    y = np.linspace(-1, 1, rows, dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, cols, dtype=np.float32)[None, :]
    photo *= (1 - strength * ((x * x + y * y) / 2) ** 1.3)[..., None]


def exposure_gain(photo: Field, exposure_ev: float) -> float:
    """Gain that puts the brightest half percent near white, unless the scene is dark."""
    sample = photo[::7, ::7].max(axis=-1)
    bright = float(np.percentile(sample, 99.3))
    middle = float(np.percentile(sample, 50))
    return float(min(0.88 / max(bright, 1e-6), 0.22 / max(middle, 1e-6)) * 2.0**exposure_ev)


def add_noise(photo: Field, strength: float, rng: np.random.Generator) -> None:
    """Shot and read noise (in place), slightly correlated as after demosaicing."""
    if strength <= 0:
        return
    noise = rng.standard_normal(photo.shape, dtype=np.float32)
    luminance = cv2.GaussianBlur(noise, (0, 0), 0.55) * np.float32(2.0)
    level = np.clip(photo, 0, 1.2)
    sigma = np.sqrt(np.float32(5e-5) * level + np.float32(3e-6)) * np.float32(strength)
    photo += sigma * luminance


def tone_curve(photo: Field, contrast: float) -> Field:
    """Linear light to display values 0..1: shoulder, sRGB curve (IEC 61966-2-1), S-curve."""
    light = np.clip(photo, 0, None)
    light = np.where(light > 0.8, 0.8 + 0.2 * (1 - np.exp(-(light - 0.8) / 0.2)), light)
    display = np.where(
        light <= 0.0031308,
        12.92 * light,
        1.055 * np.power(np.maximum(light, 1e-6), 1 / 2.4) - 0.055,
    ).astype(np.float32)
    bend = display * display * (3 - 2 * display)
    return np.asarray(display + np.float32(contrast) * (bend - display), np.float32)


def develop(
    photo: Field,
    depth_mm: Field,
    spec: SensorSpec,
    focus_mm: float,
    rng: np.random.Generator,
) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    """Linear radiance, shape (H, W, 3), to an 8-bit RGB photo."""
    photo = defocus(
        photo,
        depth_mm - np.float32(focus_mm),
        px_per_mm_away=spec.depth_blur_px_per_mm,
        least_px=spec.blur_px,
    )
    vignette(photo, spec.vignetting)
    photo *= np.float32(exposure_gain(photo, spec.exposure_ev))
    add_noise(photo, spec.noise, rng)
    display = tone_curve(photo, spec.contrast)
    if spec.sharpening:
        soft = cv2.GaussianBlur(display, (0, 0), 1.3)
        display += np.float32(spec.sharpening) * (display - soft)
    return np.asarray(np.clip(display * 255 + 0.5, 0, 255), np.uint8)
