"""What varies between photos: one table for development, one held out for reporting."""

from dataclasses import dataclass

Range = tuple[float, float]
Colour = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranges:
    """One table. Every range of `trial` is apart from every range of `holdout`.

    `rubbers` are linear RGB reflectances, each varied by `rubber_spread` of itself; `metals`
    are the renderer's conductor presets with a factor; `px_per_mm` is the magnification at
    the stack's face; `tilt_deg` the angle between the view and the face's normal.
    """

    rubbers: tuple[Colour, ...]
    metals: tuple[tuple[str, float], ...]
    metal_roughness: Range
    plates: tuple[str, ...]
    rigs: tuple[str, ...]
    benches: tuple[str, ...]
    rubber_layers: tuple[int, ...]
    rubber_mm: tuple[Range, ...]
    shim_mm: tuple[Range, ...]
    radius_mm: tuple[Range, ...]
    px_per_mm: tuple[Range, ...]
    distance_mm: Range
    tilt_deg: Range
    grain_mm: Range
    noise: Range
    blur_px: Range
    jpeg_quality: tuple[int, int]


RUBBER_SPREAD = 0.06

TRIAL = Ranges(
    rubbers=((0.026, 0.026, 0.027), (0.105, 0.103, 0.1), (0.115, 0.07, 0.042)),
    metals=(("Al", 0.5), ("Cr", 0.7)),
    metal_roughness=(0.16, 0.3),
    plates=("milled", "green_paint"),
    rigs=("window", "lamp"),
    benches=("wood", "mat"),
    rubber_layers=(3, 4, 6, 7),
    rubber_mm=((1.5, 2.0), (2.6, 3.3)),
    shim_mm=((0.35, 0.6),),
    radius_mm=((26.0, 42.0), (62.0, 80.0)),
    px_per_mm=((25.0, 34.0), (42.0, 52.0)),
    distance_mm=(190.0, 270.0),
    tilt_deg=(0.0, 12.0),
    grain_mm=(0.28, 0.45),
    noise=(0.004, 0.011),
    blur_px=(0.55, 0.9),
    jpeg_quality=(86, 92),
)

HOLDOUT = Ranges(
    rubbers=((0.044, 0.047, 0.056), (0.19, 0.185, 0.175), (0.13, 0.052, 0.034)),
    metals=(("W", 0.75), ("Au", 0.45)),
    metal_roughness=(0.32, 0.42),
    plates=("cast", "grey_paint"),
    rigs=("softbox", "tubes"),
    benches=("steel", "paper"),
    rubber_layers=(5, 8),
    rubber_mm=((1.1, 1.4), (2.1, 2.5), (3.4, 4.0)),
    shim_mm=((0.3, 0.34), (0.65, 1.0)),
    radius_mm=((20.0, 25.0), (45.0, 60.0)),
    px_per_mm=((20.0, 24.0), (35.0, 41.0), (53.0, 60.0)),
    distance_mm=(285.0, 380.0),
    tilt_deg=(13.0, 24.0),
    grain_mm=(0.5, 0.7),
    noise=(0.012, 0.017),
    blur_px=(0.95, 1.25),
    jpeg_quality=(93, 96),
)

TABLES = {"trial": TRIAL, "holdout": HOLDOUT}
