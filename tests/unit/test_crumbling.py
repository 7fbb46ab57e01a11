"""Crumbling on drawn rubber: patches of known area are found, look-alikes are not."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from damagescore.damage.crumbling import find_crumbling
from damagescore.damage.record import Finding
from damagescore.edge.record import Edge, Layer
from damagescore.photo import CameraFacts, Photo
from damagescore.quantity import NotMeasured
from damagescore.scale.record import Scale, SurfaceMap

HEIGHT, WIDTH = 420, 1000
PX_PER_MM = 20.0
TOPS = (20, 120, 220, 320)
THICK = 70  # 3.5 mm of rubber, 1.5 mm of shim


def edge_of(*, up: float = 0.0) -> Edge:
    """Four rubber layers and the shims between, rising by `up` over the width."""
    x = np.linspace(0, WIDTH - 1, 40)
    rise = -up * x / WIDTH
    found = []
    for k, top in enumerate(TOPS):
        index = 2 * (len(TOPS) - 1 - k)
        bounds = [np.column_stack([x, top + d + rise]) for d in (0, THICK, 100)]
        kinds = [("rubber", index, 0)] + ([("shim", index - 1, 1)] if index else [])
        found += [
            Layer(
                index=i, kind=kind, upper_px=bounds[b], lower_px=bounds[b + 1],
                thickness=NotMeasured(reason="drawn", unit="mm"),
            )
            for kind, i, b in kinds
        ]  # fmt: skip
    return Edge(layers=tuple(sorted(found, key=lambda x: x.index)), shape=(HEIGHT, WIDTH))


def scale_of(px_per_mm: float = PX_PER_MM) -> Scale:
    mm = 1 / px_per_mm
    return Scale(
        method="squares", surface=SurfaceMap(px_to_mm=np.diag([mm, mm, 1.0])),
        centre_px=(WIDTH / 2, HEIGHT / 2), u_relative=0.003, tilt_deg=2.0, marks=(),
    )  # fmt: skip


def grains(rng: np.random.Generator, shape: tuple[int, int], size_px: float) -> np.ndarray:
    """Packed domes with dark gaps, 0 in the gaps to 1 on top."""
    rows, cols = (np.arange(0, n, 0.8 * size_px) for n in shape)
    y, x = np.meshgrid(rows, cols, indexing="ij")
    seeds = np.ones(shape, np.uint8)
    y = np.clip(y + rng.uniform(0, 0.7 * size_px, y.shape), 0, shape[0] - 1).astype(int)
    x = np.clip(x + rng.uniform(0, 0.7 * size_px, x.shape), 0, shape[1] - 1).astype(int)
    seeds[y, x] = 0
    away = cv2.distanceTransform(seeds, cv2.DIST_L2, 5)
    return np.sqrt(np.clip(1 - (away / (0.6 * size_px)) ** 2, 0, 1)).astype(np.float32)


def rubber(*, seed: int = 1, level: float = 60.0, up: float = 0.0) -> np.ndarray:
    """Sound rubber with mottling, shims at 180, no noise or blur yet."""
    rng = np.random.default_rng(seed)
    mottle = cv2.GaussianBlur(rng.normal(0, 1, (HEIGHT, WIDTH)), (0, 0), 12)
    grey = level * np.exp(0.08 * mottle / mottle.std())
    for shim in edge_of(up=up).shims:
        cv2.fillPoly(grey, [np.round(shim.polygon_px * 16).astype(np.int32)], 180.0, shift=4)
    return grey.astype(np.float32)


def outline(*, x: int = 500, y: int = 155, half: tuple[int, int] = (120, 24)) -> np.ndarray:
    """A wavy ellipse within the second layer."""
    t = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    wave = 1 + 0.08 * np.sin(5 * t) + 0.05 * np.sin(9 * t + 1)
    return np.column_stack([x + half[0] * wave * np.cos(t), y + half[1] * wave * np.sin(t)])


def crumbled(grey: np.ndarray, polygon: np.ndarray, *, size_px: float = 9.0) -> np.ndarray:
    inside = np.zeros(grey.shape, np.float32)
    cv2.fillPoly(inside, [np.round(polygon * 16).astype(np.int32)], 1.0, cv2.LINE_AA, 4)
    relief = grains(np.random.default_rng(7), grey.shape, size_px)
    broken = grey * (0.15 + 0.85 * relief)
    return (grey * (1 - inside) + broken * inside).astype(np.float32)


def photo_of(grey: np.ndarray, *, noise: float = 1.5, blur_px: float = 0.8) -> Photo:
    rng = np.random.default_rng(11)
    seen = cv2.GaussianBlur(grey, (0, 0), blur_px) + rng.normal(0, noise, grey.shape)
    seen = np.clip(np.rint(seen), 0, 255)
    rgb = np.repeat(seen.astype(np.uint8)[:, :, None], 3, axis=2)
    return Photo(
        name="x", sha256="0", rgb=rgb, grey=seen.astype(np.float32), bit_depth=8,
        camera=CameraFacts(),
    )  # fmt: skip


def found_in(grey: np.ndarray, **options: float) -> tuple[Finding, ...]:
    return find_crumbling(photo_of(grey), edge_of(), scale_of(), **options)


def overlap(polygon: np.ndarray, other: np.ndarray) -> float:
    """Intersection over union of two outlines."""
    masks = []
    for outline_px in (polygon, other):
        mask = np.zeros((HEIGHT, WIDTH), np.uint8)
        cv2.fillPoly(mask, [np.round(outline_px * 16).astype(np.int32)], 1, shift=4)
        masks.append(mask > 0)
    return (masks[0] & masks[1]).sum() / (masks[0] | masks[1]).sum()


def area_px(polygon: np.ndarray) -> float:
    x, y = polygon.T
    return abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


@pytest.mark.parametrize("size_px", [6.0, 9.0, 14.0])  # grains of 0.3, 0.45 and 0.7 mm
@pytest.mark.parametrize("level", [45.0, 110.0])
def test_a_patch_is_found_once_with_its_area(size_px: float, level: float) -> None:
    polygon = outline()
    (finding,) = found_in(crumbled(rubber(level=level), polygon, size_px=size_px))
    assert finding.kind == "crumbling"
    assert finding.layer == 4
    assert finding.origin == "auto"
    # The aim of the method: area within 15 %, overlap of 0.8.
    expected = area_px(polygon) / PX_PER_MM**2
    assert finding.quantities["area"].value == pytest.approx(expected, rel=0.15)
    assert overlap(finding.polygon_px, polygon) > 0.8
    assert finding.strength > 0.8


def test_a_patch_against_a_shim_goes_up_to_it() -> None:
    polygon = np.array([[350, 120], [650, 120], [650, 165], [350, 165]], float)
    (finding,) = found_in(crumbled(rubber(), polygon))
    assert overlap(finding.polygon_px, polygon) > 0.85
    assert finding.polygon_px[:, 1].min() == pytest.approx(120, abs=1.5)  # the layer's border


def test_a_patch_over_the_whole_layer_stays_inside_it() -> None:
    polygon = np.array([[300, 100], [700, 100], [700, 210], [300, 210]], float)
    grey = crumbled(rubber(), polygon)
    (finding,) = found_in(grey)
    assert finding.polygon_px[:, 1].min() > 118
    assert finding.polygon_px[:, 1].max() < 192
    area = finding.quantities["area"].value
    assert area == pytest.approx(400 * 70 / PX_PER_MM**2, rel=0.08)


def test_near_pieces_are_one_patch_and_far_ones_two() -> None:
    near = [outline(x=400, half=(60, 22)), outline(x=530, half=(60, 22))]
    far = [outline(x=300, half=(60, 22)), outline(x=600, half=(60, 22))]
    for pieces, count in ((near, 1), (far, 2)):
        grey = rubber()
        for piece in pieces:
            grey = crumbled(grey, piece)
        found = found_in(grey)
        assert len(found) == count
        total = sum(f.quantities["area"].value for f in found)
        expected = sum(area_px(p) for p in pieces) / PX_PER_MM**2
        assert total == pytest.approx(expected, rel=0.15)


def test_patches_in_two_layers_are_two_findings() -> None:
    grey = crumbled(crumbled(rubber(), outline()), outline(y=255))
    assert sorted(f.layer for f in found_in(grey)) == [2, 4]


def test_sound_rubber_shows_nothing_at_any_sensitivity() -> None:
    for sensitivity in (0.0, 0.5, 1.0):
        assert found_in(rubber(), sensitivity=sensitivity) == ()


def with_cracks(grey: np.ndarray) -> np.ndarray:
    x = np.arange(200, 700)
    y = 155 + 8 * np.sin(x / 60) + 3 * np.sin(x / 11)
    line = np.column_stack([x, y]).astype(np.int32)
    cv2.polylines(grey, [line], False, 8.0, 7, cv2.LINE_AA)  # 0.35 mm wide
    cv2.line(grey, (300, 255), (380, 235), 6.0, 5, cv2.LINE_AA)
    cv2.line(grey, (340, 246), (420, 270), 6.0, 5, cv2.LINE_AA)
    return grey


def with_shadow_along_shims(grey: np.ndarray) -> np.ndarray:
    for top in TOPS:
        grey[top : top + 4] *= 0.3
    return grey


def with_dust(grey: np.ndarray) -> np.ndarray:
    rng = np.random.default_rng(3)
    for x, y in rng.integers([5, 20], [995, 380], (900, 2)):
        cv2.circle(
            grey, (int(x), int(y)), int(rng.integers(1, 3)), float(rng.uniform(90, 200)), -1
        )
    cloud = cv2.GaussianBlur(rng.normal(0, 1, grey.shape), (0, 0), 5)
    patch = np.exp(-(((np.arange(WIDTH) - 600) / 120) ** 2))[None, :]
    return grey * (1 + 0.6 * patch * np.clip(cloud / cloud.std(), 0, 2)).astype(np.float32)


def with_chalk(grey: np.ndarray) -> np.ndarray:
    rng = np.random.default_rng(4)
    stroke = np.zeros(grey.shape, np.float32)
    cv2.line(stroke, (200, 130), (420, 180), 1.0, 26)
    broken = rng.uniform(0, 1, grey.shape) < 0.7
    return np.where((stroke > 0) & broken, 210.0, grey).astype(np.float32)


def with_loose_crumbs(grey: np.ndarray) -> np.ndarray:
    rng = np.random.default_rng(6)
    for x in range(100, 900, 60):  # 3 mm apart
        y = rng.integers(135, 175)
        cv2.circle(grey, (x, int(y)), 7, 35.0, -1, cv2.LINE_AA)
    return grey


def with_slow_shade(grey: np.ndarray) -> np.ndarray:
    fall = 1 / (1 + np.exp((np.arange(WIDTH) - 750) / 60))
    return (grey * (0.3 + 0.7 * fall)).astype(np.float32)


@pytest.mark.parametrize(
    "disturbed",
    [
        with_cracks, with_shadow_along_shims, with_dust, with_chalk, with_loose_crumbs,
        with_slow_shade,
    ],
)  # fmt: skip
def test_look_alikes_are_not_crumbling(disturbed: object) -> None:
    assert found_in(disturbed(rubber())) == ()


def test_a_tone_that_ends_nowhere_is_no_patch_but_a_patch_in_it_is() -> None:
    """Rougher, darker rubber from one end of a layer to the other: only the grains count."""
    rng = np.random.default_rng(5)
    grey = rubber()
    coarse = cv2.GaussianBlur(rng.normal(0, 1, grey.shape), (0, 0), 2.0)
    rough = 0.85 * np.exp(0.12 * coarse / coarse.std())
    grey[120:190] *= rough[120:190].astype(np.float32)
    assert found_in(grey) == ()
    polygon = outline()
    (finding,) = found_in(crumbled(grey, polygon))
    # Rough rubber hides the border, which moves by 1 mm at most; the tone is 50 mm long.
    assert overlap(finding.polygon_px, polygon) > 0.6
    assert finding.polygon_px[:, 0].min() > polygon[:, 0].min() - 1.25 * PX_PER_MM
    assert finding.polygon_px[:, 0].max() < polygon[:, 0].max() + 1.25 * PX_PER_MM


def test_a_shallow_patch_that_is_no_darker_than_the_rubber_is_found() -> None:
    """Grains lighter and darker than the rubber around, which they are alike in the mean."""
    polygon, grey = outline(), rubber()
    inside = np.zeros(grey.shape, np.float32)
    cv2.fillPoly(inside, [np.round(polygon * 16).astype(np.int32)], 1.0, cv2.LINE_AA, 4)
    relief = grains(np.random.default_rng(7), grey.shape, 9.0)
    relief /= relief[inside > 0.5].mean()
    (finding,) = found_in(grey * (1 + 0.25 * inside * (relief - 1)))
    # Its border hardly shows: where it lies is all that is asked.
    assert overlap(finding.polygon_px, polygon) > 0.5


def test_no_border_that_is_likely_anywhere_leaves_no_patch() -> None:
    """What the border's model finds nowhere does not stand out, however plain the rest is."""
    rough = np.random.default_rng(8).normal(0, 1, (HEIGHT, WIDTH))
    grey = rubber() * np.exp(0.25 * cv2.GaussianBlur(rough, (0, 0), 2.0)).astype(np.float32)
    assert found_in(grey) == ()


@pytest.mark.parametrize("noise", [6.0, 10.0])
def test_a_noisy_photo_shows_nothing(noise: float) -> None:
    assert find_crumbling(photo_of(rubber(), noise=noise), edge_of(), scale_of()) == ()


def test_jpeg_blocks_show_nothing() -> None:
    photo = photo_of(with_dust(rubber()))
    _, data = cv2.imencode(".jpg", photo.grey.astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 40])
    grey = cv2.imdecode(data, cv2.IMREAD_GRAYSCALE).astype(np.float32)
    assert find_crumbling(replace(photo, grey=grey), edge_of(), scale_of()) == ()


def test_a_crack_beside_a_patch_does_not_add_to_it() -> None:
    polygon = outline(x=300, half=(80, 22))
    grey = crumbled(rubber(), polygon)
    cv2.line(grey, (380, 155), (800, 160), 8.0, 6, cv2.LINE_AA)
    (finding,) = found_in(grey)
    assert finding.quantities["area"].value == pytest.approx(
        area_px(polygon) / PX_PER_MM**2, rel=0.15
    )


def test_keep_out_is_not_judged() -> None:
    box = np.array([[330, 100], [680, 100], [680, 210], [330, 210]], float)
    edge = replace(edge_of(), keep_out_px=(box,))
    assert find_crumbling(photo_of(crumbled(rubber(), outline())), edge, scale_of()) == ()


def test_sensitivity_only_adds() -> None:
    """A weak patch is told at high sensitivity first."""
    grey = rubber()
    weak = 0.75 * grey + 0.25 * crumbled(grey, outline())
    counts = [len(found_in(weak, sensitivity=s)) for s in (0.0, 0.5, 1.0)]
    assert counts == sorted(counts)
    assert (counts[0], counts[-1]) == (0, 1)


def test_no_rubber_gives_nothing() -> None:
    edge = Edge(layers=edge_of().shims, shape=(HEIGHT, WIDTH))
    assert find_crumbling(photo_of(rubber()), edge, scale_of()) == ()


def test_mirrored_and_turned_photos_give_the_same_areas() -> None:
    grey = crumbled(rubber(), outline(x=350))
    photo = photo_of(grey)
    plain = find_crumbling(photo, edge_of(), scale_of())[0].quantities["area"].value
    turned = replace(photo, grey=np.ascontiguousarray(photo.grey[::-1, ::-1]))
    flipped = Edge(
        layers=tuple(
            replace(
                layer,
                upper_px=([WIDTH - 1, HEIGHT - 1] - layer.lower_px)[::-1],
                lower_px=([WIDTH - 1, HEIGHT - 1] - layer.upper_px)[::-1],
            )
            for layer in edge_of().layers
        ),
        shape=(HEIGHT, WIDTH),
    )
    again = find_crumbling(turned, flipped, scale_of())[0].quantities["area"].value
    assert again == pytest.approx(plain, rel=0.01)  # blocks of the light model fall otherwise


def test_rising_layers_change_nothing() -> None:
    polygon = outline()
    lifted = polygon - np.column_stack([np.zeros(len(polygon)), 30 * polygon[:, 0] / WIDTH])
    grey = crumbled(rubber(up=30), lifted)
    (finding,) = find_crumbling(photo_of(grey), edge_of(up=30), scale_of())
    assert overlap(finding.polygon_px, lifted) > 0.8


def test_a_finer_photo_gives_the_same_area() -> None:
    """Twice the pixels per mm: the same picture enlarged is worked on at 20 px/mm."""
    photo = photo_of(crumbled(rubber(), outline()))
    big = cv2.resize(photo.grey, None, fx=2, fy=2, interpolation=cv2.INTER_LINEAR)
    layers = tuple(
        replace(x, upper_px=2 * x.upper_px + 0.5, lower_px=2 * x.lower_px + 0.5)
        for x in edge_of().layers
    )
    edge = Edge(layers=layers, shape=big.shape)
    scale = replace(scale_of(2 * PX_PER_MM), centre_px=(WIDTH, HEIGHT))
    (fine,) = find_crumbling(replace(photo, grey=big), edge, scale)
    (plain,) = find_crumbling(photo, edge_of(), scale_of())
    area = plain.quantities["area"].value
    assert fine.quantities["area"].value == pytest.approx(area, rel=0.04)  # resampling blurs
