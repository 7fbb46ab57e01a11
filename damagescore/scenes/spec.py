"""What a scene holds: every choice that the generator needs, and nothing random."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class CameraSpec:
    """Where the camera stands; the target is a point of the tangent plane z = 0.

    Parameters
    ----------
    size_px : tuple of int
        Width and height of the photo.
    px_per_mm : float
        Magnification at the target.
    distance_mm : float
        From the pinhole to the target.
    yaw_deg, pitch_deg, roll_deg : float
        Camera moved to its right, up, and turned about its axis.
    target_mm : tuple of float or None
        (x, v) that the optical axis meets; None means a little below the middle of the stack.
    """

    size_px: tuple[int, int] = (2200, 1650)
    px_per_mm: float = 26.0
    distance_mm: float = 270.0
    yaw_deg: float = 0.0
    pitch_deg: float = 4.0
    roll_deg: float = 0.0
    target_mm: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StackSpec:
    """Rubber layers with shims between them, counted from the bottom.

    `meniscus_mm` is how far the middle of a rubber layer stands out (or in, if negative).
    `rubber_layers` rubber layers of `rubber_mm`, with `shim_mm` shims between; `jitter`
    is the relative spread of the rubber thickness and `waviness_mm` the amplitude of the
    interface lines. `radius_mm` None means a flat edge, else a cylinder of vertical axis.
    """

    rubber_layers: int = 6
    rubber_mm: float = 3.5
    shim_mm: float = 0.6
    jitter: float = 0.03
    waviness_mm: float = 0.04
    meniscus_mm: float = -0.05
    radius_mm: float | None = None
    rubber: str = "black"
    shim: str = "bright"
    plate: str = "ground"
    dust: float = 1.0
    smears: float = 1.0
    plate_below_mm: float = 17.0
    plate_above_mm: float = 18.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LightSpec:
    """A lamp and the room around it.

    `azimuth_deg` 0 is from the right and 90 from above; `elevation_deg` is measured from
    the surface. `direct` is the lamp's share, the rest comes from the room. `spread` widens
    the penumbra. `shadow_line` and `glare` give the place (share of the width) of a cast
    shadow edge or of a bright streak, None for none.
    """

    azimuth_deg: float = 110.0
    elevation_deg: float = 45.0
    direct: float = 0.6
    spread: float = 0.3
    kelvin: float = 5200.0
    room_kelvin: float = 6200.0
    lamp_distance_mm: float = 350.0
    shadow_line: float | None = None
    glare: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkSpec:
    """A scale mark: a card with squares or dots, a rule, or nothing.

    `kind` is one of "aruco_4x4_50", "apriltag_36h11", "steel_rule", "two_dots", "none".
    `size_mm` is the side of a square, the pitch of the rule, or the dots' centre distance.
    `spacing_mm` is the step from square to square, or the length of the rule; `margin_mm` the
    white around the squares, about a quarter of their side unless given.
    `code` is the text of a QR code in the middle of a card with squares, as on a job card.
    `standoff_mm` moves the card towards the camera and `turn_deg` turns it about its
    upright axis: both make a bad card.
    """

    kind: str = "aruco_4x4_50"
    ids: tuple[int, ...] = (3, 8)
    size_mm: float = 10.0
    spacing_mm: float = 45.0
    margin_mm: float | None = None
    centre_mm: tuple[float, float] | None = None
    rotation_deg: float = 0.6
    standoff_mm: float = 0.0
    turn_deg: float = 0.0
    code: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CrackSpec:
    """One crack or bond gap in a rubber layer (`layer` counts shims too, so it is even).

    `kind` is "mid_layer", "surface_check" (short, upright) or "bond_line" (along a shim).
    `s_mm` is the middle along the layers, `heading_deg` the general direction. `grown` is
    the share of its path that is open so far, from the middle outwards; 0 is no crack yet.
    """

    layer: int
    kind: str = "mid_layer"
    s_mm: float = 0.0
    length_mm: float = 20.0
    width_mm: float = 0.3
    heading_deg: float = 0.0
    branches: int = 0
    kinks: int = 1
    faint: bool = False
    at_top: bool = True
    grown: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CrumblingSpec:
    """A patch of crumbled rubber: `length_mm` along the layer, `share` of its thickness."""

    layer: int
    s_mm: float = 0.0
    length_mm: float = 10.0
    share: float = 0.8
    grain_mm: float = 0.45
    depth_mm: float = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class BulgeSpec:
    """Peak of one layer beyond the shim edge line; a recess is negative (profile view)."""

    layer: int
    peak_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DistractorSpec:
    """Things that are no damage: how many of each."""

    fibres: int = 3
    dark_hairs: int = 0
    scratches: int = 3
    flash_ridges: int = 1
    chalk: int = 0
    bloom: float = 0.3
    specks: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSpec:
    """Lens and sensor. Blur radii in photo pixels; exposure in stops from the automatic one."""

    blur_px: float = 0.7
    depth_blur_px_per_mm: float = 0.06
    noise: float = 1.0
    exposure_ev: float = 0.0
    vignetting: float = 0.25
    contrast: float = 0.15
    sharpening: float = 0.25
    jpeg_quality: int = 90


@dataclass(frozen=True, slots=True, kw_only=True)
class SceneSpec:
    """One photo: everything that, with a seed, fixes each of its pixels.

    `view` is "face" or "profile"; `verdict` is what an honest reader should say ("ok",
    "warn" or "refuse") and `reason` why. With `surface_mm`, the stretch of the edge that is
    made, the part stays the same one under every camera and with cracks grown; `visit` then
    numbers the times that it is photographed, each with its own dust, bench and noise.
    """

    name: str
    view: str = "face"
    title: str = ""
    camera: CameraSpec = field(default_factory=CameraSpec)
    stack: StackSpec = field(default_factory=StackSpec)
    light: LightSpec = field(default_factory=LightSpec)
    mark: MarkSpec = field(default_factory=MarkSpec)
    sensor: SensorSpec = field(default_factory=SensorSpec)
    distractors: DistractorSpec = field(default_factory=DistractorSpec)
    cracks: tuple[CrackSpec, ...] = ()
    crumbling: tuple[CrumblingSpec, ...] = ()
    bulges: tuple[BulgeSpec, ...] = ()
    bench: str = "wood"
    backdrop: str = "wall"
    pieces: int = 3
    oversample: float = 1.5
    surface_mm: tuple[float, float] | None = None
    visit: int = 0
    verdict: str = "ok"
    reason: str = ""
