"""The generator's truth against closed forms, the image itself and OpenCV's own detector.

Sources: pinhole projection and plane homography as in OpenCV's calib3d documentation (from
memory); polygon area by the surveyor's (shoelace) formula; square fiducials are found by
OpenCV's `cv2.aruco`, which knows nothing of this generator.
"""

from dataclasses import replace
from itertools import pairwise

import cv2
import numpy as np
import pytest

from damagescore.scenes import (
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
    render,
)
from damagescore.scenes.crumbles import Patch, grow_patch, paint_patch, shoelace_mm2
from damagescore.scenes.fractures import Branch, grow_fracture, outside, paint_branch
from damagescore.scenes.laminate import Grid, build_laminate

SMALL = CameraSpec(size_px=(660, 495), px_per_mm=8.0, yaw_deg=8, pitch_deg=6, roll_deg=1.5)
QUIET = DistractorSpec(fibres=0, scratches=0, flash_ridges=0, specks=0.3)
CRACKS = (
    CrackSpec(layer=4, s_mm=4, length_mm=24, width_mm=0.6, branches=1),
    CrackSpec(layer=8, kind="bond_line", s_mm=-12, length_mm=14, width_mm=0.5, kinks=0),
)


def face_spec(radius_mm=None):
    return SceneSpec(
        name="face",
        camera=SMALL,
        stack=StackSpec(radius_mm=radius_mm, smears=0.0),
        mark=MarkSpec(ids=(5,) if radius_mm else (5, 11)),
        cracks=CRACKS,
        crumbling=(CrumblingSpec(layer=0, s_mm=-8, length_mm=10),),
        distractors=QUIET,
        sensor=SensorSpec(blur_px=0.6, noise=0.5),
        pieces=0,
    )


def profile_spec(radius_mm=None):
    return SceneSpec(
        name="profile",
        view="profile",
        camera=CameraSpec(size_px=(660, 495), px_per_mm=10.0, pitch_deg=1.0, distance_mm=300),
        stack=StackSpec(rubber_layers=5, radius_mm=radius_mm, plate_below_mm=12),
        light=LightSpec(direct=0.4),
        mark=MarkSpec(kind="apriltag_36h11", ids=(11,)),
        bulges=(BulgeSpec(layer=2, peak_mm=1.2), BulgeSpec(layer=6, peak_mm=-0.6)),
        distractors=QUIET,
        sensor=SensorSpec(blur_px=0.6, noise=0.3, sharpening=0.0),
        backdrop="bright",
        pieces=0,
    )


@pytest.fixture(scope="module", params=[None, 40.0], ids=["flat", "cylinder"])
def face(request):
    return render(face_spec(request.param), 7)


@pytest.fixture(scope="module", params=[None, 30.0], ids=["flat", "cylinder"])
def profile(request):
    return render(profile_spec(request.param), 7)


def project(truth, world):
    camera = truth["camera"]
    k, r, t = (np.array(camera[key]) for key in ("K", "R", "t"))
    image = (world @ r.T + t) @ k.T
    return image[:, :2] / image[:, 2:]


def world_of(truth, points_mm):
    """(s, v) to world by the closed form of the flat face or of the cylinder."""
    s, v = np.asarray(points_mm, float).T
    radius = truth["radius_mm"]
    if radius is None:
        return np.stack([s, v, 0 * s], axis=1)
    return np.stack([radius * np.sin(s / radius), v, radius * np.cos(s / radius) - radius], 1)


def sample(image, points_px):
    grey = cv2.cvtColor(image, cv2.COLOR_RGB2GRAY)
    x, y = np.asarray(points_px, np.float32).T
    return cv2.remap(grey, x[None], y[None], cv2.INTER_LINEAR)[0].astype(float)


def test_crack_length_is_the_sum_of_its_polylines(face):
    for crack in face.truth["cracks"]:
        runs = [np.array(run) for run in crack["polylines_mm"]]
        total = sum(np.hypot(*np.diff(run, axis=0).T).sum() for run in runs)
        # the polylines are written to 0.1 um, about 300 nodes of random rounding
        assert total == pytest.approx(crack["length_mm"], abs=0.005)
    assert face.truth["total_crack_length_mm"] == pytest.approx(
        sum(crack["length_mm"] for crack in face.truth["cracks"]), abs=0.002
    )


def test_projected_polylines_are_the_written_pixels(face):
    for crack in face.truth["cracks"]:
        for mm, px in zip(crack["polylines_mm"], crack["polylines_px"], strict=True):
            # written to 0.001 px and 0.1 um (0.001 px): rounding only
            np.testing.assert_allclose(
                project(face.truth, world_of(face.truth, mm)), px, atol=3e-3
            )


def test_projected_crumbling_is_the_written_pixels(face):
    patch = face.truth["crumbling"][0]
    for mm, px in zip(patch["polygons_mm"], patch["polygons_px"], strict=True):
        np.testing.assert_allclose(project(face.truth, world_of(face.truth, mm)), px, atol=3e-3)
    area = sum(shoelace_mm2(np.array(loop)) for loop in patch["polygons_mm"])
    assert area == pytest.approx(patch["area_mm2"], rel=1e-3)  # rounding of the nodes


def test_cracks_are_darker_than_the_rubber_beside_them(face):
    for crack in face.truth["cracks"]:
        points = np.array(crack["polylines_px"][0])
        wide = np.array(crack["widths_mm"][0]) > 0.3
        inner = points[wide]
        inside = np.median(sample(face.image, inner))
        # 8 px per mm: 7 px is beyond half the widest opening and within the rubber on one side
        beside = [np.median(sample(face.image, inner + np.array([0, dy]))) for dy in (-7, 7)]
        assert inside < 0.6 * min(beside)


def test_crumbling_in_the_mask_has_the_true_area(face):
    truth = face.truth
    pixels = int((face.mask == 5).sum())
    loops = [np.array(loop) for loop in truth["crumbling"][0]["polygons_px"]]
    outline = sum(shoelace_mm2(loop) for loop in loops)
    # a ragged outline on whole pixels: some 200 border pixels, half of them either way
    assert pixels == pytest.approx(outline, rel=0.05)


def test_scale_agrees_with_the_plane_homography(face):
    truth = face.truth
    matrix = np.array(truth["homography_image_to_plane_mm"])
    height = truth["layers"][-1]["v_top_mean_mm"]
    centre = project(truth, np.array([[0.0, height / 2, 0.0]]))[0]
    step = 0.01

    def plane(x, y):
        p = matrix @ [x, y, 1.0]
        return p[:2] / p[2]

    jacobian = np.stack(
        [
            (plane(centre[0] + step, centre[1]) - plane(centre[0] - step, centre[1]))
            / (2 * step),
            (plane(centre[0], centre[1] + step) - plane(centre[0], centre[1] - step))
            / (2 * step),
        ],
        axis=1,
    )
    back = np.linalg.inv(jacobian)  # pixels per mm along x and v
    scale = truth["scale"]
    # a cylinder touches the plane z = 0 at s = 0, so both have the same scale there
    assert 1 / np.hypot(*back[:, 0]) == pytest.approx(scale["mm_per_px_centre_s"], rel=1e-4)
    assert 1 / np.hypot(*back[:, 1]) == pytest.approx(scale["mm_per_px_centre_v"], rel=1e-4)


def test_layers_stack_up_and_lie_where_the_mask_has_them(face):
    layers = face.truth["layers"]
    assert [layer["kind"] for layer in layers] == ["rubber", "shim"] * 5 + ["rubber"]
    for lower, upper in pairwise(layers):
        assert lower["v_top_mean_mm"] == pytest.approx(upper["v_bottom_mean_mm"], abs=1e-9)
    for layer in layers:
        drawn = np.zeros(face.mask.shape, np.uint8)
        outline = np.round(np.array(layer["polygon_px"])).astype(np.int32)
        cv2.fillPoly(drawn, [outline], 1)
        inner = cv2.erode(drawn, np.ones((5, 1), np.uint8)).astype(bool)
        if layer["kind"] == "rubber":
            # cracks (4) and crumbling (5) are rubber too; the card (3) may cover the lowest
            seen = np.isin(face.mask[inner], [1, 3, 4, 5])
            assert seen.mean() > 0.97


@pytest.mark.parametrize("kind", ["aruco_4x4_50", "apriltag_36h11"])
def test_opencv_finds_the_squares_where_the_truth_has_them(kind):
    spec = face_spec()
    spec = replace(spec, mark=replace(spec.mark, kind=kind), cracks=(), crumbling=())
    scene = render(spec, 3)
    family = {
        "aruco_4x4_50": cv2.aruco.DICT_4X4_50,
        "apriltag_36h11": cv2.aruco.DICT_APRILTAG_36h11,
    }[kind]
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(family), settings)
    corners, ids, _ = detector.detectMarkers(cv2.cvtColor(scene.image, cv2.COLOR_RGB2GRAY))
    found = {int(i): c[0] for i, c in zip(ids.ravel(), corners, strict=True)}
    for mark in scene.truth["markers"]:
        # sub-pixel corners of a blurred black square are pulled in by up to half a pixel
        error = np.abs(found[mark["id"]] - np.array(mark["corners_px"]))
        assert error.max() < 0.7
        # the pull is the same on all sides, so the middle shows a wrong pixel convention
        middle = found[mark["id"]].mean(axis=0) - np.mean(mark["corners_px"], axis=0)
        assert np.abs(middle).max() < 0.15
        sides = np.diff(np.array(mark["corners_world_mm"]), axis=0)
        np.testing.assert_allclose(np.linalg.norm(sides, axis=1), mark["size_mm"], atol=2e-4)


def test_rule_lines_are_dark_where_the_truth_has_them():
    spec = replace(
        face_spec(),
        camera=replace(SMALL, px_per_mm=14.0, target_mm=(0.0, 0.0)),
        mark=MarkSpec(kind="steel_rule", size_mm=1.0, spacing_mm=20.0),
        cracks=(),
        crumbling=(),
    )
    scene = render(spec, 3)
    (mark,) = scene.truth["markers"]
    first, last = (np.array(p) for p in mark["first_last_tick_world_mm"])
    down = np.array([(last - first)[1], -(last - first)[0], 0]) / np.linalg.norm(last - first)
    share = np.linspace(0, 1, 21)[:, None]
    lines = first + share * (last - first) + 1.5 * down
    between = lines[:-1] + (lines[1:] - lines[:-1]) / 2
    on = sample(scene.image, project(scene.truth, lines))
    off = sample(scene.image, project(scene.truth, between))
    assert on.max() < off.min()


def test_silhouette_in_the_photo_is_the_true_outline(profile):
    truth = profile.truth
    outline = np.array(truth["outline_px"])
    first, last = (
        np.array(layer["polygon_px"])[:, 1]
        for layer in (truth["layers"][-1], truth["layers"][0])
    )
    rows = np.arange(int(first.max()) + 4, int(last.min()) - 4)
    order = np.argsort(outline[:, 1])
    expected = np.interp(rows, outline[order, 1], outline[order, 0])
    grey = cv2.cvtColor(profile.image, cv2.COLOR_RGB2GRAY).astype(float)
    errors = []
    for row, place in zip(rows, expected, strict=True):
        x = np.arange(int(place) - 6, int(place) + 8)
        line = grey[row, x]
        half = (line[:3].mean() + line[-3:].mean()) / 2
        above = int(np.argmax(line > half))
        share = (half - line[above - 1]) / (line[above] - line[above - 1])
        errors.append(x[above - 1] + share - place)
    # the display curve moves the half-grey point of a 0.7 px blur outwards into the dark side
    assert abs(np.median(errors)) < 0.6
    # shoulders of a bulge are steep in v, so single rows may be off by more
    assert np.percentile(np.abs(np.array(errors) - np.median(errors)), 90) < 0.7


def test_bulge_peaks_are_their_distance_from_the_shim_edge_line(profile):
    truth = profile.truth
    line = np.array(truth["shim_edge_line"]["line_px"])
    along = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
    outward = np.array([-along[1], along[0]])
    for bulge in truth["bulges"]:
        away = abs(float((np.array(bulge["peak_px"]) - line[0]) @ outward))
        # nearly fronto-parallel: 1 degree of tilt changes the scale by under 0.1 %
        assert away * truth["scale"]["mm_per_px_mean"] == pytest.approx(
            abs(bulge["peak_mm"]), abs=0.003
        )
    by_layer = {bulge["layer"]: bulge for bulge in truth["bulges"]}
    # shim edges scatter by 0.018 mm, so the layer's own place moves against their line
    assert by_layer[2]["peak_mm"] == pytest.approx(1.2, abs=0.1)
    assert by_layer[6]["recess_mm"] == pytest.approx(0.6, abs=0.1)
    assert [k for k, b in by_layer.items() if b["is_bulge"]] == [2]


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("radius_mm", [None, 40.0])
def test_damage_stays_in_its_layer_and_gaps_hug_their_shim(seed, radius_mm):
    stack = StackSpec(rubber_layers=6, rubber_mm=2.0, waviness_mm=0.1, radius_mm=radius_mm)
    laminate = build_laminate(stack, (-40.0, 40.0), np.random.default_rng(seed))
    draw = np.random.default_rng(100 + seed)
    for spec in (
        *CRACKS,
        CrackSpec(layer=2, kind="surface_check", heading_deg=95, length_mm=1.4),
    ):
        for branch in grow_fracture(spec, laminate, draw).branches:
            s, v = branch.points_mm.T
            low, high = laminate.bounds_mm(spec.layer, s)
            assert np.all((v > low) & (v < high))
            if spec.kind == "bond_line":
                assert np.all(high - v <= 0.3 + 1e-9)
    patch = grow_patch(CrumblingSpec(layer=4, length_mm=9), laminate, draw)
    for outline in patch.outlines_mm:
        low, high = laminate.bounds_mm(4, outline[:, 0])
        assert np.all((outline[:, 1] >= low) & (outline[:, 1] <= high))


def _straight(start, end, *, width_mm):
    points = np.linspace(start, end, 101)
    return Branch(points_mm=points, widths_mm=np.full(101, width_mm))


def test_a_branch_counts_only_outside_its_parents_opening():
    parent = _straight((-5, 0), (5, 0), width_mm=0.6)
    leaving = _straight((0, 0), (3, 4), width_mm=0.2)
    (seen,) = outside(leaving, [parent])
    assert seen.points_mm[0][1] == 0.0
    # it leaves at v = 0.3, so at 0.375 of its 5 mm; the first step goes straight to the parent
    assert seen.length_mm == pytest.approx(5 - 0.375 + 0.3, abs=0.06)  # nodes are 0.05 apart
    hidden = _straight((0, 0), (4, 0.25), width_mm=0.2)
    assert outside(hidden, [parent]) == []
    barely = _straight((0, 0), (4, 0.35), width_mm=0.2)
    assert outside(barely, [parent]) == []


def test_a_branch_that_comes_back_is_counted_between_the_openings():
    parent = _straight((-5, 0), (5, 0), width_mm=0.6)
    angle = np.linspace(0, np.pi, 201)
    arch = np.stack([2 * np.cos(angle), 2 * np.sin(angle)], axis=1)
    (seen,) = outside(Branch(points_mm=arch, widths_mm=np.full(201, 0.1)), [parent])
    inside = 2 * 2 * np.arcsin(0.15)
    expected = 2 * np.pi - inside + 2 * 0.3
    assert seen.length_mm == pytest.approx(expected, abs=0.08)  # steps of 0.03 mm at both ends
    assert seen.points_mm[0][1] == seen.points_mm[-1][1] == 0.0


@pytest.mark.parametrize("angle_deg", [0, 17, 45, 90, 133])
def test_painted_crack_has_its_exact_area(angle_deg):
    grid = Grid(s0_mm=-8.0, v0_mm=8.0, pitch_mm=0.05, shape=(321, 321))
    turn = np.deg2rad(angle_deg)
    along = np.linspace(-5, 5, 101)
    points = np.stack([0.013 + along * np.cos(turn), 0.021 + along * np.sin(turn)], axis=1)
    widths = 0.05 + 0.3 * np.sin(np.linspace(0, np.pi, 101))
    cover = np.zeros(grid.shape, np.float32)
    paint_branch(cover, grid, Branch(points_mm=points, widths_mm=widths))
    expected = np.trapezoid(widths, along)
    # each side is filled to whole sixteenths of a texel, border included: 1/8 texel at most
    assert cover.sum() * grid.pitch_mm**2 == pytest.approx(expected, abs=2 * 10 * 0.05 / 4)


@pytest.mark.parametrize("angle_deg", [0, 17, 45])
def test_painted_patch_has_its_exact_area(angle_deg):
    grid = Grid(s0_mm=-4.0, v0_mm=4.0, pitch_mm=0.05, shape=(161, 161))
    turn = np.deg2rad(angle_deg)
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * 1.5
    outline = square @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    cover = np.zeros(grid.shape, np.float32)
    paint_patch(cover, grid, Patch(spec=CrumblingSpec(layer=0), outlines_mm=(outline,)))
    # the fill includes its border: half a half-texel all round a 12 mm outline
    assert cover.sum() * grid.pitch_mm**2 == pytest.approx(9.0, abs=12 * 0.05 / 4 * 1.5)
