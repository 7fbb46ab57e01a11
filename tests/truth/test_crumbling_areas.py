"""Areas of outlined patches against closed forms, on flat and curved edges."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from damagescore.damage.areas import layer_under, measure_area, visible_area_mm2
from damagescore.edge.record import Edge, Layer
from damagescore.errors import UsageError
from damagescore.quantity import Measured, NotMeasured
from damagescore.scale.record import Scale, SurfaceMap

HEIGHT, WIDTH = 400, 900
UNKNOWN = NotMeasured(reason="drawn", unit="mm")


def edge_of() -> Edge:
    """Two rubber layers of 120 px with a shim of 40 px between, over 800 px."""
    x = np.linspace(50, 850, 30)
    bounds = [np.column_stack([x, np.full(30, y)]) for y in (60.0, 180.0, 220.0, 340.0)]
    layers = tuple(
        Layer(
            index=2 - i, kind="rubber" if i != 1 else "shim", upper_px=bounds[i],
            lower_px=bounds[i + 1], thickness=UNKNOWN,
        )
        for i in (2, 1, 0)
    )  # fmt: skip
    return Edge(layers=layers, shape=(HEIGHT, WIDTH))


def scale_of(surface: SurfaceMap | None = None, *, u_relative: float = 0.004) -> Scale:
    return Scale(
        method="squares",
        surface=surface or SurfaceMap(px_to_mm=np.diag([0.04, 0.04, 1.0])),
        centre_px=(450.0, 200.0), u_relative=u_relative, tilt_deg=0.0, marks=(),
    )  # fmt: skip


def circle(radius_px: float, *, centre: tuple[float, float] = (450.0, 120.0)) -> np.ndarray:
    t = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    return np.array(centre) + radius_px * np.column_stack([np.cos(t), np.sin(t)])


def box(x0: float, x1: float, y0: float = 80.0, y1: float = 160.0) -> np.ndarray:
    x, y = np.linspace(x0, x1, 400), np.linspace(y0, y1, 50)
    return np.vstack(
        [
            np.column_stack([x, np.full(400, y0)]), np.column_stack([np.full(50, x1), y]),
            np.column_stack([x[::-1], np.full(400, y1)]),
            np.column_stack([np.full(50, x0), y[::-1]]),
        ]
    )  # fmt: skip


def area_of(outline: np.ndarray, scale: Scale | None = None) -> Measured:
    found = measure_area(outline, scale or scale_of(), edge=edge_of())["area"]
    assert isinstance(found, Measured)
    return found


def test_circle_and_box() -> None:
    # A polygon of 720 corners is smaller than its circle by 1.3e-5.
    assert area_of(circle(50)).value == pytest.approx(np.pi * 2.0**2, rel=2e-5)
    assert area_of(box(400, 500)).value == pytest.approx(4.0 * 3.2, rel=1e-9)
    assert area_of(box(400, 500)).unit == "mm2"


def test_share_and_extent() -> None:
    found = measure_area(box(250, 450), scale_of(), edge=edge_of())
    # 200 x 80 px of 800 x 120 px; the layer's pixels count with one row and column more.
    assert found["share_of_layer"].value == pytest.approx(100 * 16000 / 96000, rel=0.015)
    assert found["extent"].value == pytest.approx(8.0, rel=1e-9)
    assert found["extent"].unit == "mm"


def test_visible_area_leaves_keep_out_aside() -> None:
    edge = edge_of()
    whole = visible_area_mm2(edge.layers[2], edge, scale=scale_of())
    assert whole == pytest.approx(800 * 120 * 0.04**2, rel=0.015)  # pixel rows at both borders
    half = Edge(layers=edge.layers, shape=edge.shape, keep_out_px=(box(450, 899, 0, 399),))
    cut = visible_area_mm2(edge.layers[2], half, scale=scale_of())
    assert cut == pytest.approx(whole / 2, rel=0.01)


def test_curved_edge_seen_from_far_away() -> None:
    """Parallel view of a cylinder: a strip from x0 to x1 unrolls to R (asin - asin)."""
    radius = 20.0
    px_to_mm = np.array([[0.04, 0, -18.0], [0, 0.04, 0], [0, 0, 1]])  # x = 0 at column 450
    surface = SurfaceMap(px_to_mm=px_to_mm, radius_mm=radius)
    outline = box(500, 700)
    expected = radius * (np.arcsin(10 / radius) - np.arcsin(2 / radius)) * 3.2
    assert area_of(outline, scale_of(surface)).value == pytest.approx(expected, rel=1e-5)


def test_tilted_plane() -> None:
    """A homography with foreshortening: the area is that of the mapped outline."""
    homography = np.array([[0.04, 0.002, 1.0], [0.001, 0.041, 2.0], [2e-5, -1e-5, 1.0]])
    x, y = (homography @ np.vstack([box(300, 500).T, np.ones(900)]))[:2] / (
        homography @ np.vstack([box(300, 500).T, np.ones(900)])
    )[2]
    expected = abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
    found = area_of(box(300, 500), scale_of(SurfaceMap(px_to_mm=homography)))
    assert found.value == pytest.approx(expected, rel=1e-9)


@settings(deadline=None)
@given(st.floats(0.2, 5.0))
def test_area_goes_with_the_square_of_the_scale(factor: float) -> None:
    surface = SurfaceMap(px_to_mm=np.diag([0.04 * factor, 0.04 * factor, 1.0]))
    plain, scaled = area_of(circle(40)), area_of(circle(40), scale_of(surface))
    assert scaled.value == pytest.approx(plain.value * factor**2, rel=1e-9)


@settings(deadline=None)
@given(st.integers(0, 700), st.booleans())
def test_start_and_sense_of_the_outline_do_not_matter(start: int, turned: bool) -> None:
    outline = np.roll(circle(45), start, axis=0)
    outline = outline[::-1] if turned else outline
    assert area_of(outline).value == pytest.approx(area_of(circle(45)).value, rel=1e-9)


def test_scale_counts_twice_in_an_area() -> None:
    """A = s^2 n, so u(A)/A = 2 u(s)/s (GUM 5.1.6, power of two)."""
    area = area_of(circle(50), scale_of(u_relative=0.01))
    shares = {c.source: c.u for c in area.budget}
    assert set(shares) == {"scale", "outline", "threshold"}
    assert shares["scale"] == pytest.approx(0.02 * area.value)
    share = measure_area(circle(50), scale_of(u_relative=0.5), edge=edge_of())["share_of_layer"]
    assert "scale" not in {c.source for c in share.budget}  # cancels in a ratio


def test_layer_is_the_one_that_holds_most() -> None:
    edge = edge_of()
    assert layer_under(circle(30), edge).index == 2
    assert layer_under(circle(30, centre=(450, 300)), edge).index == 0
    assert layer_under(box(300, 400, 100, 230), edge).index == 2
    assert layer_under(circle(5, centre=(450, 200)), edge) is None  # on the shim


def test_outline_off_the_rubber_has_an_area_but_no_share() -> None:
    found = measure_area(circle(5, centre=(450, 200)), scale_of(), edge=edge_of())
    assert found["area"].value > 0
    assert isinstance(found["share_of_layer"], NotMeasured)


@pytest.mark.parametrize("outline", [np.empty((0, 2)), np.array([[1.0, 1.0], [5.0, 5.0]])])
def test_no_area_is_refused(outline: np.ndarray) -> None:
    with pytest.raises(UsageError, match="points") as caught:
        measure_area(outline, scale_of(), edge=edge_of())
    assert caught.value.remedy


def test_drawn_outlines_are_less_certain_than_found_ones() -> None:
    drawn = measure_area(circle(50), scale_of(), edge=edge_of(), origin="drawn")["area"]
    assert drawn.value == area_of(circle(50)).value
    assert drawn.u > area_of(circle(50)).u


def test_a_border_along_the_layer_is_better_known() -> None:
    """The same box: with its long side on the layer's border, or in the middle."""
    free, bound = area_of(box(300, 600, 80, 160)), area_of(box(300, 600, 60, 140))
    assert bound.value == pytest.approx(free.value)
    assert bound.u < free.u
