"""The quality gate on drawn photos: each fault is told, a good photo passes."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from damagescore.photo import CameraFacts, Photo
from damagescore.quality import Check, Quality, check_quality
from damagescore.quality.sharpness import side_response
from damagescore.scale.camera import LensUse
from damagescore.scale.record import Mark, Scale, SurfaceMap

HEIGHT, WIDTH = 700, 1000
MM_PER_PX = 0.05
MARK = np.array([[100.0, 480.0], [300.0, 480.0], [300.0, 680.0], [100.0, 680.0]])


def layers() -> list[np.ndarray]:
    """Five rubber layers of 60 px with 15 px of shim between, across the photo."""
    tops = 40 + 75 * np.arange(5)
    return [np.array([[0, t], [WIDTH, t], [WIDTH, t + 60], [0, t + 60]], float) for t in tops]


def drawn(*, blur_px: float = 0.7, gain: float = 1.0) -> np.ndarray:
    """Photo with rubber at 60, shims and plate at 170, a turned square mark on white."""
    fine = np.full((HEIGHT, WIDTH), 170.0, np.float32)
    for polygon in layers():
        cv2.fillPoly(fine, [np.round(polygon * 16).astype(np.int32)], 60.0, shift=4)
    cv2.rectangle(fine, (40, 440), (400, 699), 225.0, -1)
    cv2.fillPoly(fine, [np.round(turned(MARK) * 16).astype(np.int32)], 25.0, cv2.LINE_AA, 4)
    noise = np.random.default_rng(3).normal(0, 1.0, fine.shape)
    grey = cv2.GaussianBlur(fine * gain, (0, 0), blur_px) + noise
    return np.clip(grey, 0, 255).astype(np.float32)


def turned(points: np.ndarray, degrees: float = 4.0) -> np.ndarray:
    middle, t = points.mean(axis=0), np.radians(degrees)
    turn = np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]])
    return (points - middle) @ turn + middle


def photo_of(grey: np.ndarray) -> Photo:
    rgb = np.repeat(grey.astype(np.uint8)[:, :, None], 3, axis=2)
    return Photo(name="x", sha256="0", rgb=rgb, grey=grey, bit_depth=8, camera=CameraFacts())


def scale_of(mm_per_px: float = MM_PER_PX, **changes: object) -> Scale:
    mark = Mark(
        kind="aruco_4x4_50", id=1, size_mm=200 * mm_per_px, corners_px=turned(MARK),
        mm_per_px=mm_per_px,
    )  # fmt: skip
    scale = Scale(
        method="squares",
        surface=SurfaceMap(px_to_mm=np.diag([mm_per_px, mm_per_px, 1.0])),
        centre_px=(WIDTH / 2, HEIGHT / 2), u_relative=0.003, tilt_deg=4.0, marks=(mark,),
    )  # fmt: skip
    return replace(scale, **changes)


def judged(grey: np.ndarray | None = None, **options: object) -> Quality:
    chosen = {"scale": scale_of(), "edge_polygons_px": layers()} | options
    return check_quality(photo_of(drawn() if grey is None else grey), **chosen)


def check(quality: Quality, name: str) -> Check:
    return next(c for c in quality.checks if c.name == name)


def test_a_good_photo_passes_every_check() -> None:
    quality = judged()
    assert quality.usable
    assert [c.name for c in quality.checks if c.outcome != "pass"] == []


def test_no_scale_and_no_edge_refuse() -> None:
    assert check(judged(scale=None), "scale").outcome == "refuse"
    assert not judged(scale=None).usable
    for none in (None, []):
        quality = judged(edge_polygons_px=none)
        assert check(quality, "edge").outcome == "refuse"
        assert not quality.usable


def test_blur_is_told_in_mm_and_grows_with_it() -> None:
    blurs = [0.7, 1.5, 3.0, 5.0, 7.0]
    found = [check(judged(drawn(blur_px=b)), "focus") for b in blurs]
    values = [c.value for c in found]
    assert values == sorted(values)
    for blur, value in zip(blurs[1:4], values[1:4], strict=True):
        # 1.349 s with the pixel's own blur; a mark of 33 px cells bounds the reach.
        assert value == pytest.approx(1.349 * np.hypot(blur, 0.29) * MM_PER_PX, rel=0.06)
    assert [found[0].outcome, found[2].outcome, found[4].outcome] == ["pass", "warn", "refuse"]


def test_motion_along_one_direction_is_told() -> None:
    kernel = np.full((1, 25), 1 / 25, np.float32)
    assert check(judged(cv2.filter2D(drawn(), -1, kernel)), "focus").outcome == "refuse"
    assert check(judged(cv2.filter2D(drawn(), -1, kernel.T)), "focus").outcome == "refuse"


def test_blur_shows_at_the_layers_without_a_square_mark() -> None:
    bare = scale_of(method="two_points", marks=())
    sharp = check(judged(scale=bare), "focus_rubber")
    blurred = check(judged(drawn(blur_px=6.0), scale=bare), "focus_rubber")
    assert sharp.outcome == "pass"
    assert blurred.value > 2 * sharp.value
    assert blurred.outcome != "pass"


def test_a_smaller_limit_asks_for_more() -> None:
    blurred = drawn(blur_px=1.5)
    assert check(judged(blurred), "focus").outcome == "pass"
    assert check(judged(blurred, smallest_limit_mm=0.05), "focus").outcome == "warn"
    assert check(judged(smallest_limit_mm=0.1), "resolution").outcome == "warn"  # 2 px
    assert check(judged(smallest_limit_mm=0.2), "resolution").outcome == "pass"  # 4 px


@pytest.mark.parametrize(
    ("px_per_mm", "outcome"),
    [(20, "pass"), (15, "pass"), (12, "warn"), (8, "warn"), (7, "refuse")],
)
def test_resolution(px_per_mm: float, outcome: str) -> None:
    found = check(judged(scale=scale_of(1 / px_per_mm)), "resolution")
    assert found.outcome == outcome
    assert found.value == pytest.approx(px_per_mm)
    assert f"{px_per_mm:.1f} px/mm" in found.words()


@pytest.mark.parametrize(
    ("tilt_deg", "outcome"),
    [(0.0, "pass"), (25.0, "pass"), (30.0, "pass"), (33.0, "warn"), (41.0, "refuse")],
)
def test_tilt(tilt_deg: float, outcome: str) -> None:
    assert check(judged(scale=scale_of(tilt_deg=tilt_deg)), "tilt").outcome == outcome


@pytest.mark.parametrize(
    ("tilt_deg", "u_tilt_deg", "outcome"),
    [(45.0, 1.0, "refuse"), (45.0, 6.0, "warn"), (20.0, 1.0, "pass"), (20.0, 15.0, "warn")],
)
def test_a_tilt_is_refused_only_where_it_surely_is_too_large(
    tilt_deg: float, u_tilt_deg: float, outcome: str
) -> None:
    # one-sided 95 %: 45 - 1.65 x 1 lies beyond 40 degrees, 45 - 1.65 x 6 does not
    found = check(judged(scale=scale_of(tilt_deg=tilt_deg, u_tilt_deg=u_tilt_deg)), "tilt")
    assert found.outcome == outcome
    assert f"(give or take {1.65 * u_tilt_deg:.0f}°)" in found.message


def test_a_lens_that_was_not_used_is_a_warning() -> None:
    use = LensUse(name="macro", camera="Sample A", used=False, note="the zoom was set to 7 mm")
    found = check(judged(scale=scale_of(lens=use)), "lens")
    assert found.outcome == "warn"
    assert "was not used: the zoom was set to 7 mm" in found.message
    assert check(
        judged(scale=scale_of(lens=replace(use, used=True, note=""))), "lens"
    ).outcome == ("pass")


def test_unknown_tilt_is_said_and_does_not_pass() -> None:
    found = check(judged(scale=scale_of(tilt_deg=None)), "tilt")
    assert (found.outcome, found.value) == ("warn", None)


@pytest.mark.parametrize(
    ("disagreement", "outcome"), [(0.002, "pass"), (0.02, "warn"), (0.04, "refuse")]
)
def test_marks_that_disagree(disagreement: float, outcome: str) -> None:
    found = check(judged(scale=scale_of(disagreement=disagreement)), "marks")
    assert found.outcome == outcome
    assert found.value == pytest.approx(100 * disagreement)


@pytest.mark.parametrize(
    ("u_relative", "outcome"),
    [(0.01, "pass"), (0.04, "pass"), (0.06, "warn"), (0.11, "refuse")],
)
def test_uncertain_scale(u_relative: float, outcome: str) -> None:
    quality = judged(scale=scale_of(u_relative=u_relative))
    assert check(quality, "scale_uncertainty").outcome == outcome


def test_overexposed_and_dark_rubber() -> None:
    bright = judged(drawn(gain=5.0))
    assert check(bright, "exposure").outcome == "refuse"
    assert check(bright, "exposure").value > 90
    assert check(bright, "exposure_photo").outcome == "refuse"
    dark = judged(drawn(gain=0.1))
    assert check(dark, "exposure_dark").outcome == "refuse"
    assert not dark.usable


def test_a_white_backdrop_warns_only() -> None:
    grey = drawn()
    grey[:, 450:] = 255.0
    found = check(judged(grey, view="profile"), "exposure_photo")
    assert found.outcome == "warn"
    assert found.value == pytest.approx(55.0, abs=0.5)


def test_glare_share_is_that_of_the_lit_area() -> None:
    grey = drawn()
    grey[:420, 600:720] = 240.0  # 12 % of the width
    found = check(judged(grey), "glare")
    assert found.outcome == "warn"
    assert found.value == pytest.approx(12.0, abs=1.5)  # blocks of 8 px at the two borders
    grey[:420, 600:900] = 240.0
    assert check(judged(grey), "glare").outcome == "refuse"


def test_specks_and_a_chalk_line_are_no_glare() -> None:
    grey = drawn()
    rng = np.random.default_rng(5)
    for x, y in rng.integers([20, 45], [980, 400], (300, 2)):
        cv2.circle(grey, (int(x), int(y)), 2, 230.0, -1)
    cv2.line(grey, (300, 60), (420, 120), 235.0, 12)
    assert check(judged(grey), "glare").outcome == "pass"


def projective(turn_deg: float) -> np.ndarray:
    """Pixels to mm on a plane turned about the vertical, 250 mm away, 20 px/mm."""
    t, focal = np.radians(turn_deg), 250 * 20.0
    turn = np.array([[np.cos(t), 0, np.sin(t)], [0, 1, 0], [-np.sin(t), 0, np.cos(t)]])
    camera = np.array([[focal, 0, WIDTH / 2], [0, focal, HEIGHT / 2], [0, 0, 1]])
    to_px = camera @ np.column_stack([turn[:, 0], turn[:, 1], [0, 0, 250.0]])
    return np.linalg.inv(to_px)


@pytest.mark.parametrize(
    ("turn_deg", "outcome"), [(0.0, "pass"), (5.0, "pass"), (15.0, "warn"), (38.0, "refuse")]
)
def test_a_mark_turned_against_the_rubber(turn_deg: float, outcome: str) -> None:
    scale = scale_of(surface=SurfaceMap(px_to_mm=projective(turn_deg)), tilt_deg=turn_deg)
    found = check(judged(scale=scale), "planes")
    # The photo is 50 mm wide seen from 250 mm: the far side is smaller by this ratio.
    shrink = 50 / 250 * np.tan(np.radians(turn_deg))
    assert found.value == pytest.approx(100 * shrink, rel=0.1, abs=0.1)  # first order
    assert found.outcome == outcome


def test_the_bounds_of_the_plane_grow_with_what_the_perspective_is_known_to() -> None:
    scale = scale_of(surface=SurfaceMap(px_to_mm=projective(15.0)), tilt_deg=15.0)
    assert check(judged(scale=scale), "planes").outcome == "warn"
    # Focal length known to 30 %: the convergence that it puts in is known to 30 % as well.
    loose = replace(scale, u_log_focal=0.3)
    assert check(judged(scale=loose), "planes").outcome == "pass"
    # The graduations of a rule show the convergence itself, whatever the focal length.
    rule = replace(loose, method="rule")
    assert check(judged(scale=rule), "planes").outcome == "warn"


def test_a_mark_whose_black_is_washed_out_is_refused() -> None:
    grey = drawn()
    assert check(judged(grey), "exposure_mark").outcome == "pass"
    over = np.clip(1.2 * grey + 70.0, 0, 255)  # black 25 to 100, white 225 to 255
    x = slice(40, 400)
    bright = grey.copy()
    bright[440:, x] = over[440:, x]
    cv2.rectangle(bright, (130, 510), (160, 650), 255.0, -1)
    cv2.rectangle(bright, (240, 510), (270, 650), 255.0, -1)
    assert check(judged(bright), "exposure_mark").outcome == "warn"
    bright[440:, x] = np.clip(bright[440:, x] + 60.0, 0, 255)
    assert check(judged(bright), "exposure_mark").outcome == "refuse"


def test_a_doubtful_layer_count_is_told_with_the_reason() -> None:
    quality = judged(layers_doubt="one of the shims is hardly seen")
    found = check(quality, "layers")
    assert (found.outcome, found.value) == ("warn", 5.0)
    assert "hardly seen" in found.message
    assert "give the number of layers" in found.message
    assert quality.usable
    assert "layers" not in [c.name for c in judged().checks]


def test_a_mottled_border_is_no_fault() -> None:
    rng = np.random.default_rng(4)
    grey = np.full((120, 120), 40.0, np.float32)
    for k in range(16):  # each piece of the border lies elsewhere
        low = 8 + int(rng.integers(0, 40)) if k % 2 else 70 + int(rng.integers(0, 40))
        grey[low:, 7 * k + 4 : 7 * k + 11] = 200.0
    side = np.array([[4.0, 60.0], [116.0, 60.0]])
    response = side_response(grey, side, half_px=25.0, trim=0.02)
    assert response is None or np.isfinite(response.finest_width_px)


def test_the_plane_is_not_judged_in_a_profile_view() -> None:
    scale = scale_of(surface=SurfaceMap(px_to_mm=projective(38.0)))
    names = [c.name for c in judged(scale=scale, view="profile").checks]
    assert "planes" not in names
    assert "exposure_dark" not in names


def test_every_message_is_one_sentence_with_a_remedy_unless_passed() -> None:
    bad = judged(
        drawn(gain=5.0, blur_px=5.0),
        scale=scale_of(1 / 6, tilt_deg=50.0, u_relative=0.1, disagreement=0.1),
    )
    failed = [c for c in bad.checks if c.outcome != "pass"]
    assert len(failed) >= 6
    for c in failed:
        assert c.message.endswith(".")
        assert "\n" not in c.message
        assert ":" in c.message


def test_round_trip() -> None:
    quality = judged(drawn(gain=5.0))
    assert Quality.from_dict(quality.to_dict()) == quality
