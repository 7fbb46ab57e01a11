"""Data tables of the materials: colours are linear reflectance (red, green, blue)."""

from dataclasses import dataclass

from damagescore.errors import UsageError

Colour = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish:
    """How a surface looks.

    Parameters
    ----------
    colour : tuple of float
        Diffuse reflectance.
    mottle : float
        Relative spread of slow blotches.
    grain : float
        Relative spread of fine texture.
    gloss : float
        Strength of the mirror-like part.
    width_along, width_across : float
        Spread of surface slopes along and across the brushing, which runs along s.
    relief_mm : float
        Height of the fine texture.
    streaks : float
        Strength of brushing or turning lines.
    """

    colour: Colour
    mottle: float = 0.1
    grain: float = 0.06
    gloss: float = 0.02
    width_along: float = 0.3
    width_across: float = 0.3
    relief_mm: float = 0.002
    streaks: float = 0.0


def rubber_finishes() -> dict[str, Finish]:
    """Rubber tones; "bloom" tones carry a grey wax film."""
    base = {"mottle": 0.13, "grain": 0.09, "relief_mm": 0.0035}
    return {
        "black": Finish(colour=(0.024, 0.025, 0.027), gloss=0.020, **base),
        "soft_black": Finish(colour=(0.034, 0.033, 0.032), gloss=0.012, **base),
        "blue_black": Finish(colour=(0.028, 0.031, 0.036), gloss=0.025, **base),
        "dark_grey": Finish(colour=(0.052, 0.052, 0.054), gloss=0.012, **base),
        "grey": Finish(colour=(0.105, 0.105, 0.105), gloss=0.010, **base),
        "warm_grey": Finish(colour=(0.085, 0.078, 0.070), gloss=0.010, **base),
        "bloomed": Finish(colour=(0.075, 0.077, 0.082), gloss=0.008, mottle=0.28, grain=0.1),
        "brown": Finish(colour=(0.090, 0.052, 0.030), gloss=0.012, **base),
        "dark_brown": Finish(colour=(0.050, 0.033, 0.024), gloss=0.012, **base),
        "deep_black": Finish(colour=(0.017, 0.017, 0.018), gloss=0.030, **base),
        "green_black": Finish(colour=(0.030, 0.037, 0.031), gloss=0.016, **base),
        "slate": Finish(colour=(0.062, 0.068, 0.077), gloss=0.018, **base),
        "ash": Finish(colour=(0.135, 0.133, 0.128), gloss=0.008, **base),
        "tan": Finish(colour=(0.150, 0.108, 0.070), gloss=0.010, **base),
        "patchy": Finish(colour=(0.044, 0.046, 0.050), gloss=0.010, mottle=0.33, grain=0.11),
    }


def shim_finishes() -> dict[str, Finish]:
    """Shim edges, from bright to dull."""
    return {
        "bright": Finish(
            colour=(0.30, 0.30, 0.29),
            gloss=0.55,
            width_along=0.5,
            width_across=0.16,
            relief_mm=0.003,
            streaks=0.30,
        ),
        "satin": Finish(
            colour=(0.33, 0.325, 0.31),
            gloss=0.25,
            width_along=0.6,
            width_across=0.28,
            relief_mm=0.003,
            streaks=0.22,
        ),
        "dull": Finish(
            colour=(0.20, 0.185, 0.17),
            gloss=0.12,
            width_along=0.6,
            width_across=0.4,
            relief_mm=0.004,
            streaks=0.25,
            mottle=0.2,
        ),
        "warm": Finish(
            colour=(0.27, 0.235, 0.19),
            gloss=0.25,
            width_along=0.6,
            width_across=0.3,
            relief_mm=0.003,
            streaks=0.22,
            mottle=0.15,
        ),
        "tarnished": Finish(
            colour=(0.17, 0.14, 0.11),
            gloss=0.10,
            width_along=0.6,
            width_across=0.4,
            relief_mm=0.005,
            streaks=0.3,
            mottle=0.3,
        ),
        "frosted": Finish(
            colour=(0.40, 0.40, 0.395),
            gloss=0.10,
            width_along=0.5,
            width_across=0.45,
            relief_mm=0.004,
            streaks=0.12,
        ),
        "polished": Finish(
            colour=(0.24, 0.24, 0.245),
            gloss=0.75,
            width_along=0.45,
            width_across=0.12,
            streaks=0.18,
        ),
        "brassy": Finish(
            colour=(0.31, 0.245, 0.11),
            gloss=0.32,
            width_along=0.55,
            width_across=0.22,
            relief_mm=0.003,
            streaks=0.26,
        ),
        "blued": Finish(
            colour=(0.085, 0.095, 0.125),
            gloss=0.30,
            width_along=0.5,
            width_across=0.25,
            relief_mm=0.003,
            streaks=0.2,
        ),
        "rusty": Finish(
            colour=(0.145, 0.085, 0.050),
            gloss=0.06,
            width_along=0.6,
            width_across=0.5,
            relief_mm=0.006,
            streaks=0.2,
            mottle=0.42,
            grain=0.15,
        ),
    }


def plate_finishes() -> dict[str, Finish]:
    """End plates: machined, blasted, anodised and painted."""
    return {
        "ground": Finish(
            colour=(0.21, 0.21, 0.205),
            gloss=0.22,
            width_along=0.6,
            width_across=0.25,
            relief_mm=0.004,
            streaks=0.32,
        ),
        "turned": Finish(
            colour=(0.26, 0.26, 0.26),
            gloss=0.35,
            width_along=0.7,
            width_across=0.18,
            relief_mm=0.006,
            streaks=0.45,
        ),
        "blasted": Finish(colour=(0.27, 0.27, 0.265), gloss=0.05, grain=0.12, relief_mm=0.012),
        "scale": Finish(colour=(0.10, 0.085, 0.07), gloss=0.06, mottle=0.35, grain=0.2),
        "blue_paint": Finish(colour=(0.035, 0.11, 0.32), gloss=0.08, mottle=0.06, grain=0.03),
        "grey_paint": Finish(colour=(0.23, 0.245, 0.25), gloss=0.06, mottle=0.05, grain=0.03),
        "green_paint": Finish(colour=(0.07, 0.17, 0.10), gloss=0.07, mottle=0.07, grain=0.03),
        "primer": Finish(colour=(0.25, 0.24, 0.08), gloss=0.03, mottle=0.08, grain=0.05),
        "black_anodised": Finish(
            colour=(0.030, 0.031, 0.034),
            gloss=0.06,
            width_along=0.4,
            width_across=0.3,
            mottle=0.06,
            streaks=0.15,
        ),
        "gold_anodised": Finish(
            colour=(0.33, 0.23, 0.09),
            gloss=0.15,
            width_along=0.5,
            width_across=0.25,
            mottle=0.06,
            streaks=0.2,
        ),
        "milled": Finish(
            colour=(0.29, 0.29, 0.295),
            gloss=0.28,
            width_along=0.65,
            width_across=0.22,
            relief_mm=0.008,
            streaks=0.55,
        ),
        "cast": Finish(
            colour=(0.15, 0.145, 0.14), gloss=0.04, mottle=0.2, grain=0.22, relief_mm=0.014
        ),
        "white_paint": Finish(colour=(0.58, 0.58, 0.56), gloss=0.07, mottle=0.04, grain=0.02),
        "red_paint": Finish(colour=(0.27, 0.05, 0.04), gloss=0.08, mottle=0.06, grain=0.03),
        "passivated": Finish(
            colour=(0.34, 0.29, 0.16),
            gloss=0.18,
            width_along=0.5,
            width_across=0.3,
            mottle=0.16,
            streaks=0.2,
        ),
        "phosphated": Finish(colour=(0.055, 0.056, 0.058), gloss=0.03, mottle=0.12, grain=0.14),
    }


def bench_finishes() -> dict[str, Finish]:
    """What the part stands on."""
    return {
        "wood": Finish(colour=(0.36, 0.22, 0.11), gloss=0.03, mottle=0.12, streaks=0.35),
        "pale_wood": Finish(colour=(0.52, 0.39, 0.24), gloss=0.02, mottle=0.1, streaks=0.3),
        "laminate": Finish(colour=(0.55, 0.55, 0.53), gloss=0.06, mottle=0.03, grain=0.03),
        "granite": Finish(colour=(0.10, 0.10, 0.105), gloss=0.1, mottle=0.15, grain=0.35),
        "steel": Finish(colour=(0.24, 0.24, 0.24), gloss=0.25, mottle=0.2, streaks=0.3),
        "mat": Finish(colour=(0.05, 0.12, 0.09), gloss=0.01, mottle=0.1, grain=0.12),
        "cloth": Finish(colour=(0.42, 0.41, 0.40), gloss=0.0, mottle=0.1, grain=0.2),
        "blue_cloth": Finish(colour=(0.12, 0.17, 0.28), gloss=0.0, mottle=0.1, grain=0.2),
        "cork": Finish(colour=(0.40, 0.28, 0.16), gloss=0.0, mottle=0.2, grain=0.4),
        "paper": Finish(colour=(0.70, 0.69, 0.66), gloss=0.01, mottle=0.02, grain=0.03),
        "slate_top": Finish(colour=(0.060, 0.065, 0.070), gloss=0.05, mottle=0.1, grain=0.08),
        "red_cloth": Finish(colour=(0.28, 0.06, 0.05), gloss=0.0, mottle=0.1, grain=0.22),
        "brushed": Finish(colour=(0.36, 0.36, 0.355), gloss=0.3, mottle=0.08, streaks=0.45),
    }


def pick_finish(table: dict[str, Finish], name: str) -> Finish:
    """Look a finish up, or say which names there are."""
    if name not in table:
        raise UsageError(
            f'There is no finish "{name}".', remedy=f"Use one of: {', '.join(sorted(table))}."
        )
    return table[name]
