"""What the photo shows at each pixel of a layer for and against crumbled rubber."""

from dataclasses import dataclass, replace

import numpy as np

from damagescore.damage.crumbling_light import light_on, local_level
from damagescore.damage.crumbling_sound import sound_texture
from damagescore.damage.crumbling_strip import Image, Mask, Strip, part_of, pooled
from damagescore.damage.crumbling_texture import (
    alignment,
    band_energies,
    brightness,
    darkness,
    without_lines,
)
from damagescore.damage.crumbling_weights import (
    CLUE_WEIGHTS,
    CORE_WEIGHTS,
    OFFSET,
    RELATIVE_WEIGHTS,
    SEED_OFFSET,
    SEED_WEIGHTS,
)
from damagescore.side_by_side import side_by_side

FINE_MM = 0.12
"""Finest blur over which detail is averaged: it sets how well a border is placed."""

GRAIN_MM = 0.3
"""Blur over about one grain."""

PATCH_MM = (0.4, 1.0)
"""Blurs that tell a patch from single specks, lines and crumbs."""

CALM = 0.3
"""Added to texture over sound texture before the logarithm: quiet places read alike."""

LEAST_SHADE = 0.06
"""Log units by which a core must differ from sound rubber for its shade to be a clue."""

CHANNELS = ("dark fine", "dark middle", "dark coarse", "bright fine", "bright middle",
            "bright coarse")  # fmt: skip

CLUES = (
    *(f"{c}, near" for c in CHANNELS), *CHANNELS,
    "contrast", "bright over dark", "darker, near", "darker", "aligned", "quiet side", "wide",
    "even 0.4", "even 1.0", "dark even 0.4", "dark even 1.0", "beside the layer's border",
)  # fmt: skip
"""Names of what `clues` returns, in its order."""

CORE_CLUES = ("even 0.4", "darker")
"""Clues whose usual value in a patch's own core is a clue for all of its surroundings."""

RELATIVE_CLUES = ("texture, near", "texture", "even 0.4", "even 1.0", "darker, near", "darker")
"""Clues read from 0 on sound rubber to 1 in the core, for a faint patch has a border too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One layer's detail beside what sound rubber shows under the same light.

    Parameters
    ----------
    strip : Strip
    light : ndarray, shape (h, w)
        Log grey level that the light gives sound rubber.
    level : ndarray, shape (h, w)
        Log grey level around each pixel.
    sound_level : ndarray, shape (h, w)
        The larger of that level and of the light on sound rubber.
    energies : tuple of ndarray
        Squared detail of each of `CHANNELS`, log units squared.
    sound : tuple of ndarray
        Mean of the same on sound rubber under the same light.
    usual : tuple of float
        Median and scatter (1.48 times the median deviation) of the photo's texture, as
        "even 1.0" tells it.
    """

    strip: Strip
    light: Image
    level: Image
    sound_level: Image
    energies: tuple[Image, ...]
    sound: tuple[Image, ...]
    usual: tuple[float, float] = (0.0, 0.0)

    @property
    def thickness_mm(self) -> float:
        """Mean thickness of what may be judged of the layer."""
        inside = self.strip.inside
        length_px = max(float((inside > 0.5).any(axis=0).sum()), 1.0)
        return float(inside.sum()) / length_px / self.strip.px_per_mm


def evidence_of(strips: tuple[Strip, ...], shape: tuple[int, int]) -> tuple[Evidence, ...]:
    """Detail of every strip over that of the sound rubber of the same photo.

    Parameters
    ----------
    strips : tuple of Strip
    shape : tuple of int
        Photo height and width.
    """
    lights = light_on(strips, shape)
    seen = side_by_side(_detail, zip(strips, lights, strict=True))
    levels, energies, pools = (tuple(part) for part in zip(*seen, strict=True))
    sound = side_by_side(
        lambda k: sound_texture(strips, levels, [p[k] for p in pools]), range(len(CHANNELS))
    )
    evidences = tuple(
        Evidence(
            strip=strip, light=lights[i], level=levels[i],
            sound_level=np.maximum(lights[i], levels[i]), energies=energies[i],
            sound=tuple(s[i] for s in sound),
        )
        for i, strip in enumerate(strips)
    )  # fmt: skip
    usual = _usual(evidences)
    return tuple(replace(e, usual=usual) for e in evidences)


def _usual(evidences: tuple[Evidence, ...]) -> tuple[float, float]:
    """Median and scatter of the texture around each pixel, over all layers."""
    known = np.concatenate(
        side_by_side(
            lambda e: pooled(e.strip, evenness(e, channels=6), PATCH_MM[1])[e.strip.sure][::5],
            evidences,
        )
    )
    if not len(known):
        return 0.0, 0.0
    median = float(np.median(known))
    return median, 1.4826 * float(np.median(np.abs(known - median)))


def _detail(lit: tuple[Strip, Image]) -> tuple[Image, tuple[Image, ...], tuple[Image, ...]]:
    """Level, energies and energies around each pixel, of a strip and the light on it."""
    strip, light = lit
    level = local_level(strip, light)
    energies = band_energies(strip, darkness(strip, level)) + band_energies(
        strip, brightness(strip, level)
    )
    return level, energies, tuple(pooled(strip, e, GRAIN_MM) for e in energies)


def window_of(evidence: Evidence, rows: slice, columns: slice) -> Evidence:
    """A part of a layer's evidence."""
    at = (rows, columns)
    return Evidence(
        strip=part_of(evidence.strip, rows, columns),
        light=evidence.light[at],
        level=evidence.level[at],
        sound_level=evidence.sound_level[at],
        energies=tuple(e[at] for e in evidence.energies),
        sound=tuple(s[at] for s in evidence.sound),
        usual=evidence.usual,
    )


def over_sound(energy: Image, sound: Image) -> Image:
    """Logarithm of texture over sound texture."""
    return np.asarray(np.log(energy / sound + np.float32(CALM)), dtype=np.float32)


def evenness(evidence: Evidence, *, channels: int) -> Image:
    """Texture over sound texture of the first few channels, near each pixel.

    Averaged as a logarithm over a patch it stays low for specks and lines, which have all
    their texture in few places.
    """
    near = pooled(evidence.strip, sum_of(evidence.energies[:channels]), FINE_MM)
    return over_sound(near, sum_of(evidence.sound[:channels]))


def sum_of(images: tuple[Image, ...]) -> Image:
    """Sum of images of one shape."""
    total = images[0].copy()  # `numpy.sum` would copy them all
    for image in images[1:]:
        total += image
    return total


def clues(evidence: Evidence) -> Image:
    """All `CLUES` at each pixel, shape (h, w, len(CLUES)), float32."""
    strip, sound = evidence.strip, evidence.sound
    grain = tuple(pooled(strip, e, GRAIN_MM) for e in evidence.energies)
    near = tuple(pooled(strip, e, FINE_MM) for e in evidence.energies)
    dark, bright = sum_of(grain[:3]), sum_of(grain[3:])
    whole = sum_of(sound)
    texture = over_sound(dark + bright, whole)
    quiet = np.float32(np.log(CALM))
    below = np.clip(evidence.sound_level - strip.log_grey, -0.5, 0.9)
    even, dark_even = evenness(evidence, channels=6), evenness(evidence, channels=3)
    return np.stack(
        [
            *(over_sound(e, s) for e, s in zip(near, sound, strict=True)),
            *(over_sound(e, s) for e, s in zip(grain, sound, strict=True)),
            np.log(dark + bright + 1e-4), np.log(bright + 1e-4) - np.log(dark + 1e-4),
            pooled(strip, below, FINE_MM), pooled(strip, below, GRAIN_MM),
            alignment(strip, darkness(strip, evidence.level)),
            without_lines(strip, texture - quiet) + quiet - texture,
            over_sound(pooled(strip, sum_of(evidence.energies), 0.7), whole),
            *(pooled(strip, even, s) for s in PATCH_MM),
            *(pooled(strip, dark_even, s) for s in PATCH_MM), ~strip.sure,
        ],
        axis=-1,
    ).astype(np.float32)  # fmt: skip


SOUND_NEAR, SOUND_GRAIN, SOUND_EVEN = 0.15, 0.33, (0.33, 0.36)
"""Usual clues on sound rubber: log(x + `CALM`) of a ratio x that scatters about 1."""


def seed_score(evidence: Evidence) -> Image:
    """Log odds that a place lies within a patch, by its wide surroundings alone."""
    strip = evidence.strip
    below = np.clip(evidence.sound_level - strip.log_grey, -0.5, 0.9)
    even, dark_even = evenness(evidence, channels=6), evenness(evidence, channels=3)
    parts = [pooled(strip, below, GRAIN_MM)]
    parts += [pooled(strip, x, s) for x in (even, dark_even) for s in PATCH_MM]
    weighted = (w * x for w, x in zip(SEED_WEIGHTS, parts, strict=True))
    return np.asarray(sum(weighted, start=np.float32(SEED_OFFSET)), dtype=np.float32)


def border_score(seen: Image, core: Mask) -> Image:
    """Log odds that a pixel is crumbled, given a core that is.

    Parameters
    ----------
    seen : ndarray, shape (h, w, len(CLUES))
        Result of `clues`.
    core : ndarray of bool, shape (h, w)
    """
    usual = np.median(seen[core], axis=0)
    score = seen @ np.array(CLUE_WEIGHTS, np.float32)
    score += np.float32(OFFSET + usual[[CLUES.index(c) for c in CORE_CLUES]] @ CORE_WEIGHTS)
    for weight, clue in zip(RELATIVE_WEIGHTS, relative_clues(seen, usual), strict=True):
        score += np.float32(weight) * clue
    return np.asarray(score, dtype=np.float32)


def relative_clues(seen: Image, usual: Image) -> tuple[Image, ...]:
    """`RELATIVE_CLUES` at each pixel, given what is usual in a core, shape (len(CLUES),)."""
    n = len(CHANNELS)
    at = {name: k for k, name in enumerate(CLUES)}
    even = [at["even 0.4"], at["even 1.0"]]
    dark = [at["darker, near"], at["darker"]]
    gain = usual[at["darker"]] / (usual[at["darker"]] ** 2 + LEAST_SHADE**2)
    return (
        _matched(seen[..., :n] - SOUND_NEAR, usual[:n] - SOUND_NEAR),
        _matched(seen[..., n : 2 * n] - SOUND_GRAIN, usual[n : 2 * n] - SOUND_GRAIN),
        *(
            np.minimum((seen[..., k] - sound) / max(usual[k] - sound, 0.3), limit)
            for k, sound, limit in zip(even, SOUND_EVEN, (1.6, 1.4), strict=True)
        ),
        *(np.clip(seen[..., k] * gain, -1, 2) for k in dark),
    )


def _matched(texture: Image, usual: Image) -> Image:
    """Share of a texture of several bands that is like the core's: a matched filter."""
    like = np.maximum(usual, 0)
    return np.asarray(np.minimum(texture @ like / (like @ like + 0.3), 1.6), np.float32)
