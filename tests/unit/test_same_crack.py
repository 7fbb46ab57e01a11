"""Two photos of one edge laid on one another, and their findings paired."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from damagescore.damage.record import Finding
from damagescore.edge.record import Edge
from damagescore.history.edge_view import EdgeView, edge_view
from damagescore.history.pairing import (
    SIGNIFICANT,
    Side,
    growth_of,
    pair_findings,
    shared_relative,
    state_of_growth,
)
from damagescore.history.register import NotRegistered, Registration, register
from damagescore.history.tracks import Look, series_of_track, steps_of, tracks_of
from damagescore.photo.record import CameraFacts, Photo
from damagescore.quantity import Contribution, from_budget
from damagescore.scale.record import Mark, Scale
from tests.conftest import MM_PER_PX, flat_edge, plain_scale

WIDTH, HEIGHT = 1000, 300


def texture(seed: int) -> np.ndarray:
    """Mottled rubber with spots, 1400 px wide."""
    generator = np.random.default_rng(seed)
    coarse = gaussian_filter(generator.normal(0, 1, (HEIGHT, 1400)), 3.0)
    spots = gaussian_filter((generator.random((HEIGHT, 1400)) < 0.0015).astype(float), 1.5)
    return 80 + 60 * coarse + 900 * spots


def photo_at(left: int, *, seed: int = 5, noise: int = 0, light: float = 1.0) -> Photo:
    generator = np.random.default_rng([noise, left])
    grey = light * texture(seed)[:, left : left + WIDTH] + generator.normal(
        0, 1.5, (HEIGHT, WIDTH)
    )
    grey = grey.clip(0, 255).astype(np.float32)
    return Photo(
        name="edge.png", sha256="0" * 64, rgb=np.repeat(grey[..., None], 3, 2).astype(np.uint8),
        grey=grey, bit_depth=8, camera=CameraFacts(),
    )  # fmt: skip


def seen_at(left: int, *, edge: Edge | None = None, **how: float) -> EdgeView:
    edge = edge or flat_edge(width=WIDTH, height=HEIGHT)
    return edge_view(photo_at(left, **how), edge, plain_scale())


def crack(
    name: str, start: int, end: int, *, left: int, y: float = 240.0, u: float = 0.1
) -> Finding:
    """A level crack between columns of the texture, as the photo from `left` shows it."""
    x = np.linspace(start - left, end - left, 30)
    line = np.column_stack([x, np.full(30, y)])
    length = from_budget(
        (end - start) * MM_PER_PX, [Contribution(source="tips", u=u)], unit="mm"
    )
    return Finding(
        id=name, kind="crack", layer=0, strength=0.9, lines_px=(line,),
        quantities={"length": length},
    )  # fmt: skip


def test_photos_of_one_edge_are_laid_on_one_another() -> None:
    found = register(seen_at(100), seen_at(220, noise=1, light=1.3))
    assert isinstance(found, Registration)
    assert found.shift_mm == pytest.approx(-120 * MM_PER_PX, abs=4 * found.u_mm)  # four u
    assert found.stretch == pytest.approx(1, abs=1e-3)  # a quarter pixel over the overlap
    assert found.u_mm < 0.05
    # The second shows columns 220 to 1219 of the texture: from 120 px on in the first.
    assert found.overlap_mm[0] == pytest.approx(120 * MM_PER_PX, abs=0.2)  # a few pixels


def test_photos_of_two_parts_are_refused_with_a_sentence() -> None:
    found = register(seen_at(100), seen_at(100, seed=6))
    assert isinstance(found, NotRegistered)
    assert "may show different parts" in found.reason


def test_other_layers_are_refused_with_a_sentence() -> None:
    other = flat_edge(width=WIDTH, height=HEIGHT, tops=(280, 200, 180, 100))
    found = register(seen_at(100), seen_at(100, edge=other))
    assert isinstance(found, NotRegistered)
    assert found.reason.startswith("One photo shows 5 layers and shims, the other 3")


def test_layers_are_the_datum_whatever_the_tilt() -> None:
    """Layers that run downhill lie level in the flat view."""
    edge = flat_edge(width=WIDTH, height=HEIGHT)

    def sunk(curve: np.ndarray) -> np.ndarray:
        return curve + np.column_stack([0 * curve[:, 0], 0.015 * curve[:, 0]])

    layers = tuple(
        replace(x, upper_px=sunk(x.upper_px), lower_px=sunk(x.lower_px)) for x in edge.layers
    )
    tilted = replace(edge, layers=layers)
    view = edge_view(photo_at(0), tilted, plain_scale())
    at = view.place(
        np.column_stack([np.linspace(50, 900, 5), 200 + 0.015 * np.linspace(50, 900, 5)])
    )
    assert at[:, 1] == pytest.approx(at[0, 1], abs=1e-6)  # rounding


def side(view: EdgeView, *findings: Finding) -> Side:
    return Side(view=view, findings=findings)


def paired(before: list[Finding], after: list[Finding]):
    first, second = seen_at(100), seen_at(220, noise=1)
    found = register(first, second)
    assert isinstance(found, Registration)
    pairs = pair_findings(side(first, *before), side(second, *after), found)
    return {(p.before or p.after).id: p for p in pairs}


def test_findings_are_paired_over_time() -> None:
    before = [
        crack("a", 400, 500, left=100), crack("b", 600, 700, left=100, y=120.0),
        crack("gone", 800, 850, left=100), crack("left", 120, 180, left=100),
    ]  # fmt: skip
    after = [
        crack("x", 390, 530, left=220), crack("y", 600, 701, left=220, y=121.0),
        crack("z", 950, 1000, left=220), crack("right", 1150, 1200, left=220),
    ]  # fmt: skip
    found = paired(before, after)
    assert (found["a"].state, found["a"].after.id) == ("grown", "x")
    assert found["a"].growth.value == pytest.approx(40 * MM_PER_PX)  # 140 less 100 columns
    assert found["b"].state == "unchanged"
    assert found["gone"].state == "no_longer_seen"
    assert found["z"].state == "new"
    assert found["left"].state == found["right"].state == "out_of_view"


def test_two_cracks_side_by_side_are_not_mixed_up() -> None:
    before = [crack("a", 400, 500, left=100), crack("b", 400, 500, left=100, y=232.0)]
    after = [crack("y", 400, 510, left=220, y=232.0), crack("x", 400, 510, left=220)]
    found = paired(before, after)
    assert found["a"].after.id == "x"
    assert found["b"].after.id == "y"


def marked(u_relative: float, *, size_mm: float = 10.0) -> Scale:
    mark = Mark(
        kind="aruco_4x4_50", id=3, size_mm=size_mm, corners_px=np.zeros((4, 2)), mm_per_px=0.04
    )
    lines = (
        Contribution(source="printed size", u=u_relative),
        Contribution(source="corner noise and tilt", u=0.0005),
    )
    return replace(plain_scale(), marks=(mark,), budget=lines)


def test_the_error_of_a_shared_mark_acts_on_the_growth_alone() -> None:
    scale = marked(0.01)
    before = from_budget(30.0, [Contribution(source="scale", u=0.3)], unit="mm")
    after = from_budget(32.0, [Contribution(source="scale", u=0.32)], unit="mm")
    shared = growth_of(before, after, scales=(scale, scale))
    apart = growth_of(before, after, scales=(scale, marked(0.01, size_mm=5.0)))
    assert shared.u == pytest.approx(0.02)  # 1 % of 2 mm
    assert apart.u == pytest.approx(np.hypot(0.3, 0.32))  # nothing shared
    assert shared_relative(scale, scale) == 0.01


def test_growth_is_called_so_as_often_as_stated() -> None:
    generator = np.random.default_rng(2)
    differences = generator.normal(0, 1, 4000)
    called = np.mean([
        state_of_growth(from_budget(d, [Contribution(source="x", u=1.0)], unit="mm")) == "grown"
        for d in differences
    ])  # fmt: skip
    assert called == pytest.approx(0.05, abs=0.01)  # three standard errors of 4000 draws
    assert SIGNIFICANT == 1.645


def test_a_crack_is_followed_through_several_looks() -> None:
    looks = [
        Look(use=0.0, view=seen_at(100), findings=(crack("a", 400, 450, left=100),)),
        Look(use=100.0, view=seen_at(160, noise=1), findings=(
            crack("q", 700, 750, left=160, y=120.0), crack("a2", 395, 470, left=160))),
        Look(use=200.0, view=seen_at(220, noise=2), findings=(
            crack("a3", 390, 500, left=220), crack("q2", 700, 760, left=220, y=120.0))),
    ]  # fmt: skip
    tracks = tracks_of(looks, steps_of(looks))
    assert [[f and f.id for f in t.findings] for t in tracks] == [
        ["a", "a2", "a3"], [None, "q", "q2"],
    ]  # fmt: skip
    series = series_of_track(tracks[0], looks)
    assert [v.value for _, v in series.measured] == pytest.approx([2.0, 3.0, 4.4])  # 0.04 mm/px
    assert "not found" in series_of_track(tracks[1], looks).points[0].value.reason
