"""Texture that sound rubber shows under the light that falls on it."""

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from damagescore.damage.crumbling_strip import Image, Strip
from damagescore.ranks import median

Values = NDArray[np.float64]

BINS = 10
"""Light levels at which sound texture is read; each holds a tenth of the rubber."""

OUTLYING = 2.0
"""A level whose texture energy is this far above the course of the rest is damage."""

LEAST_ENERGY = 1e-6
"""A contrast of 0.1 %, which no camera shows: nothing is divided by less."""

SAMPLES = 60_000
"""Places looked at over all layers; the bins are smooth, so more tell nothing new."""


def sound_texture(
    strips: tuple[Strip, ...], lights: tuple[Image, ...], found: list[Image]
) -> tuple[Image, ...]:
    """Texture energy of sound rubber at each pixel of each strip, log units squared.

    A surface has the same contrast under any light, but the noise of the sensor, in
    log units, grows as the light falls: energy = a + b exp(-2 light), a, b >= 0. Both
    are fitted to the median energy at `BINS` levels of light, so that damage that
    covers less than half of what lies at a level does not matter.

    Parameters
    ----------
    strips : tuple of Strip
    lights : tuple of ndarray
        Log grey level of the rubber at each pixel.
    found : list of ndarray
        Texture energy at each pixel of each strip.
    """
    known = [s.sure for s in strips]
    light = np.concatenate([x[k] for x, k in zip(lights, known, strict=True)])
    energy = np.concatenate([x[k] for x, k in zip(found, known, strict=True)])
    if len(light) == 0:
        return tuple(np.full_like(x, LEAST_ENERGY) for x in found)
    every = max(1, len(light) // SAMPLES)
    base, noise = _course(*_binned(light[::every], energy[::every]))
    return tuple(
        np.maximum(base + noise * np.exp(-2 * x), LEAST_ENERGY).astype(np.float32)
        for x in lights
    )


def _binned(light: Image, energy: Image) -> tuple[Values, Values]:
    """Mean of exp(-2 light) and median energy at levels of equal share."""
    order = np.argsort(light)
    parts = [p for p in np.array_split(order, BINS) if len(p)]
    gain = np.array([np.exp(-2 * light[p].astype(np.float64)).mean() for p in parts])
    level = np.array([median(energy[p]) for p in parts], dtype=np.float64)
    return gain, level


def _course(gain: Values, level: Values) -> tuple[float, float]:
    """Terms a and b of a + b gain, by relative least squares without outlying levels."""
    kept = np.ones(len(level), dtype=bool)
    terms: Values = np.array([float(np.median(level)), 0.0])
    for _ in range(3):
        weight = 1 / np.maximum(level[kept], 0.05 * level.max() + 1e-9)
        scaled = np.column_stack([weight, weight * gain[kept] / gain.max()])
        terms = np.asarray(nnls(scaled, level[kept] * weight)[0], dtype=np.float64)
        course = terms[0] + terms[1] * gain / gain.max()
        kept = level <= OUTLYING * course + 1e-9
        if kept.sum() < 3:
            break
    return float(terms[0]), float(terms[1] / gain.max())
