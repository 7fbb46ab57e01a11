"""Drawing specs from a table of ranges, so that two tables can be kept apart."""

from dataclasses import dataclass, replace

import numpy as np

from damagescore.scenes.spec import (
    BulgeSpec,
    CameraSpec,
    CrackSpec,
    CrumblingSpec,
    DistractorSpec,
    LightSpec,
    MarkSpec,
    SceneSpec,
    SensorSpec,
    StackSpec,
)

Bands = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class VarietyTable:
    """Everything that may vary between photos without being damage.

    Names are drawn evenly; bands are closed ranges, one is drawn and then a value in it.
    Angles are magnitudes: their sign is drawn.
    """

    rubber: tuple[str, ...]
    shim: tuple[str, ...]
    plate: tuple[str, ...]
    bench: tuple[str, ...]
    backdrop: tuple[str, ...]
    mark_ids: tuple[int, ...]
    rubber_layers: tuple[int, ...]
    rubber_mm: Bands
    shim_mm: Bands
    radius_mm: Bands
    px_per_mm: Bands
    yaw_deg: Bands
    pitch_deg: Bands
    kelvin: Bands
    azimuth_deg: Bands
    elevation_deg: Bands
    direct: Bands
    noise: Bands
    blur_px: Bands
    waviness_mm: Bands
    dust: Bands


def _draw(bands: Bands, rng: np.random.Generator) -> float:
    low, high = bands[int(rng.integers(len(bands)))]
    return float(rng.uniform(low, high))


def _signed(bands: Bands, rng: np.random.Generator) -> float:
    return _draw(bands, rng) * float(rng.choice([-1, 1]))


def _one(choices: tuple[str, ...], rng: np.random.Generator) -> str:
    return choices[int(rng.integers(len(choices)))]


def draw_spec(
    table: VarietyTable, number: int, *, name: str, seed: int, size_px: tuple[int, int]
) -> SceneSpec:
    """One spec of a set: `number` walks through the kinds of damage, marks and faces."""
    rng = np.random.default_rng([seed, number])
    profile = number % 6 == 5
    zoom = size_px[0] / 2200
    density = _draw(table.px_per_mm, rng)
    small = density > 38
    stack = _draw_stack(table, rng, high_mm=size_px[1] / zoom / density, small=small)
    if number % 3 == 1 or (profile and number % 4 == 1):
        stack = replace(stack, radius_mm=_draw(table.radius_mm, rng))
    camera = CameraSpec(
        size_px=size_px,
        px_per_mm=density * zoom,
        distance_mm=float(rng.uniform(220, 340)),
        yaw_deg=0.0 if profile else _signed(table.yaw_deg, rng),
        pitch_deg=float(rng.uniform(0.5, 2.0)) if profile else _draw(table.pitch_deg, rng),
        roll_deg=float(rng.uniform(-1.5, 1.5)),
    )
    damage = _draw_damage(number, stack, size_px[0] / zoom / density, rng)
    cracks, patches, bulges = damage
    scene = SceneSpec(
        name=name,
        view="profile" if profile else "face",
        camera=camera,
        stack=stack,
        light=_draw_light(table, rng),
        mark=_draw_mark(table, number, stack, small=small, profile=profile, rng=rng),
        sensor=SensorSpec(
            blur_px=_draw(table.blur_px, rng),
            noise=_draw(table.noise, rng),
            jpeg_quality=int(rng.integers(86, 94)),
        ),
        distractors=_draw_distractors(rng),
        cracks=() if profile else cracks,
        crumbling=() if profile else patches,
        bulges=bulges if profile else (),
        bench=_one(table.bench, rng),
        backdrop=_one(table.backdrop, rng),
        pieces=int(rng.integers(0, 5)),
    )
    return _spoil(scene, number // 10, rng) if number % 10 == 9 else scene


def _spoil(scene: SceneSpec, turn: int, rng: np.random.Generator) -> SceneSpec:
    """Make a bad photo: card off the plane, out of focus, overexposed, or no mark at all."""
    kind = ("card", "focus", "light", "mark")[turn % 4]
    if kind == "card":
        away, angle = float(rng.uniform(12, 18)), float(rng.uniform(25, 40))
        mark = replace(scene.mark, standoff_mm=away, turn_deg=angle)
        reason = f"the card stands {away:.0f} mm in front and is turned by {angle:.0f} degrees"
        return replace(scene, mark=mark, verdict="warn", reason=reason)
    if kind == "focus":
        sensor = replace(scene.sensor, blur_px=float(rng.uniform(6, 9)))
        return replace(scene, sensor=sensor, verdict="refuse", reason="out of focus")
    if kind == "light":
        sensor = replace(scene.sensor, exposure_ev=float(rng.uniform(3.2, 4.0)))
        return replace(scene, sensor=sensor, verdict="refuse", reason="overexposed")
    mark = MarkSpec(kind="none", ids=())
    return replace(scene, mark=mark, verdict="refuse", reason="there is no scale mark")


def _draw_stack(
    table: VarietyTable, rng: np.random.Generator, *, high_mm: float, small: bool
) -> StackSpec:
    """As many layers of the table as leave room for the mark below and a plate above."""
    rubber, shim = _draw(table.rubber_mm, rng), _draw(table.shim_mm, rng)
    below = 9.5 if small else 17.0
    room = high_mm - below - 3.0
    fitting = tuple(n for n in table.rubber_layers if n * (rubber + shim) <= room)
    return StackSpec(
        rubber_layers=int(rng.choice(fitting or table.rubber_layers[:1])),
        rubber_mm=rubber,
        shim_mm=shim,
        waviness_mm=_draw(table.waviness_mm, rng),
        meniscus_mm=float(rng.uniform(-0.1, 0.06)),
        rubber=_one(table.rubber, rng),
        shim=_one(table.shim, rng),
        plate=_one(table.plate, rng),
        dust=_draw(table.dust, rng),
        smears=float(rng.uniform(0.3, 1.5)),
        plate_below_mm=below,
    )


def _draw_light(table: VarietyTable, rng: np.random.Generator) -> LightSpec:
    return LightSpec(
        azimuth_deg=_draw(table.azimuth_deg, rng),
        elevation_deg=_draw(table.elevation_deg, rng),
        direct=_draw(table.direct, rng),
        spread=float(rng.uniform(0.1, 0.5)),
        kelvin=_draw(table.kelvin, rng),
        room_kelvin=_draw(table.kelvin, rng),
        shadow_line=float(rng.uniform(0.25, 0.75)) if rng.random() < 0.2 else None,
        glare=float(rng.uniform(0.2, 0.8)) if rng.random() < 0.2 else None,
    )


def _draw_mark(
    table: VarietyTable,
    number: int,
    stack: StackSpec,
    *,
    small: bool,
    profile: bool,
    rng: np.random.Generator,
) -> MarkSpec:
    """Squares, rule or dots in turn; a card on a small cylinder stays narrow."""
    first, second = (int(i) for i in rng.choice(table.mark_ids, 2, replace=False))
    turn = float(rng.uniform(-1.2, 1.2))
    side = 5.0 if small else 10.0
    if profile:
        kind = "apriltag_36h11" if number % 12 == 5 else "aruco_4x4_50"
        return MarkSpec(kind=kind, ids=(first,), size_mm=side, rotation_deg=turn)
    kinds = ("aruco_4x4_50", "steel_rule", "apriltag_36h11", "two_dots")
    kind = kinds[number % 4]
    narrow = stack.radius_mm is not None or small
    if kind == "steel_rule":
        return MarkSpec(
            kind=kind,
            size_mm=1.0,
            spacing_mm=20.0 if small else 30.0 if narrow else 60.0,
            rotation_deg=turn,
        )
    if kind == "two_dots":
        size = float(rng.choice([15.0, 20.0] if narrow else [20.0, 30.0, 40.0]))
        return MarkSpec(kind=kind, size_mm=size, rotation_deg=turn)
    return MarkSpec(
        kind=kind,
        ids=(first, second),
        size_mm=side,
        spacing_mm=18.0 if narrow else 45.0,
        rotation_deg=turn,
    )


def _draw_distractors(rng: np.random.Generator) -> DistractorSpec:
    return DistractorSpec(
        fibres=int(rng.integers(0, 5)),
        dark_hairs=int(rng.integers(0, 2)),
        scratches=int(rng.integers(0, 5)),
        flash_ridges=int(rng.integers(0, 3)),
        chalk=int(rng.random() < 0.25),
        bloom=float(rng.uniform(0, 0.8)),
        specks=float(rng.uniform(0.3, 1.6)),
    )


def _draw_damage(
    number: int, stack: StackSpec, wide_mm: float, rng: np.random.Generator
) -> tuple[tuple[CrackSpec, ...], tuple[CrumblingSpec, ...], tuple[BulgeSpec, ...]]:
    """Kinds in turn: cracks, bond gaps, crumbling, a sound part, all of them."""
    reach = 0.36 * wide_mm
    if stack.radius_mm is not None:
        reach = min(reach, 0.7 * stack.radius_mm)
    layers = rng.permutation(np.arange(0, 2 * stack.rubber_layers - 1, 2)).tolist()
    kinds = ("crack check", "crack gap", "crumble", "sound", "crack gap crumble faint")
    cracks: list[CrackSpec] = []
    patches: list[CrumblingSpec] = []
    for kind in kinds[number % 5].split():
        layer = layers[(len(cracks) + len(patches)) % len(layers)]
        if kind == "crumble":
            patches.append(_draw_patch(layer, stack, reach, rng))
        elif kind != "sound":
            cracks.append(_draw_crack(kind, layer, stack, reach, rng))
    chosen = layers[: int(rng.integers(1, min(4, len(layers)) + 1))]
    bulges = tuple(
        BulgeSpec(layer=k, peak_mm=float(rng.uniform(0.2, 0.5) * stack.rubber_mm))
        for k in chosen
    )
    return tuple(cracks), tuple(patches), bulges


def _draw_crack(
    kind: str, layer: int, stack: StackSpec, reach: float, rng: np.random.Generator
) -> CrackSpec:
    place = float(rng.uniform(-0.55, 0.55) * reach)
    if kind == "check":
        upright = float(rng.uniform(60, 120))
        length = float(rng.uniform(0.5, 0.75) * stack.rubber_mm)
        return CrackSpec(
            layer=layer,
            kind="surface_check",
            s_mm=place,
            length_mm=length,
            width_mm=float(rng.uniform(0.1, 0.22)),
            heading_deg=upright,
            kinks=0,
        )
    length = float(rng.uniform(0.35, 0.95) * reach)
    if kind == "gap":
        return CrackSpec(
            layer=layer,
            kind="bond_line",
            s_mm=place,
            length_mm=length,
            kinks=0,
            width_mm=float(rng.uniform(0.15, 0.32)),
            # the outer plates are no shims: a gap of the end layers lies at their shim
            at_top=layer == 0 or (layer < 2 * stack.rubber_layers - 2 and rng.random() < 0.5),
        )
    faint = kind == "faint"
    return CrackSpec(
        layer=layer,
        s_mm=place,
        length_mm=length,
        faint=faint,
        width_mm=float(rng.uniform(0.08, 0.14) if faint else rng.uniform(0.18, 0.5)),
        heading_deg=float(rng.uniform(-3, 3)),
        branches=int(rng.integers(0, 3)),
        kinks=int(rng.integers(0, 3)),
    )


def _draw_patch(
    layer: int, stack: StackSpec, reach: float, rng: np.random.Generator
) -> CrumblingSpec:
    return CrumblingSpec(
        layer=layer,
        s_mm=float(rng.uniform(-0.5, 0.5) * reach),
        length_mm=float(rng.uniform(0.25, 0.6) * reach),
        share=float(rng.uniform(0.6, 0.95)),
        grain_mm=float(np.clip(0.13 * stack.rubber_mm * rng.uniform(0.7, 1.2), 0.2, 0.6)),
        depth_mm=float(rng.uniform(0.3, 0.9)),
    )
