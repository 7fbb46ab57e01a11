"""The relief scenes without their renderer: tables apart, damage as its truth says."""

from dataclasses import fields

import numpy as np
import pytest

from benchmarks.relief.outline import plan_profile, profile_truth, silhouette_s
from benchmarks.relief.pits import inside_loop
from benchmarks.relief.plan import plan_scene
from benchmarks.relief.ranges import HOLDOUT, RUBBER_SPREAD, TRIAL
from benchmarks.relief.skin import bare_skin, break_out, cut_fracture
from benchmarks.relief.truth import homography, scene_truth
from benchmarks.relief.view import on_surface

NUMBERS = range(12)


def _ranges(value: object) -> list[tuple[float, float]]:
    return [value] if isinstance(value[0], int | float) else list(value)


@pytest.mark.parametrize("name", [f.name for f in fields(TRIAL) if f.name != "rubbers"])
def test_the_two_tables_do_not_overlap(name: str) -> None:
    mine, held = getattr(TRIAL, name), getattr(HOLDOUT, name)
    if isinstance(mine[0], str) or name in ("metals", "rubber_layers"):
        assert not set(mine) & set(held)
        return
    for low, high in _ranges(mine):
        assert all(high < other[0] or low > other[1] for other in _ranges(held))


def test_no_held_out_rubber_looks_like_one_for_trial() -> None:
    spread = (1 + RUBBER_SPREAD) / (1 - RUBBER_SPREAD)
    for mine in TRIAL.rubbers:
        for held in HOLDOUT.rubbers:
            ratio = np.array(mine) / np.array(held)
            assert np.max(np.maximum(ratio, 1 / ratio)) > spread


@pytest.mark.parametrize("number", NUMBERS)
def test_a_branch_starts_on_the_main_run_and_leaves_it_for_good(number: int) -> None:
    for fracture in plan_scene("trial", number).fractures:
        main = fracture.runs[0]
        for side in fracture.runs[1:]:
            gap = np.hypot(*(main.points_mm - side.points_mm[0]).T)
            assert gap.min() < 1e-9  # it starts on a node of the main run
            tip = np.hypot(*(main.points_mm - side.points_mm[-1]).T)
            nearest = int(np.argmin(tip))
            assert tip.min() > main.widths_mm[nearest] / 2  # its tip is outside the stroke


def test_truth_lengths_are_those_of_the_polylines() -> None:
    truth = scene_truth(plan_scene("trial", 4), "x.jpg")
    for crack in truth["cracks"]:
        lines = [np.array(line) for line in crack["polylines_mm"]]
        total = sum(np.hypot(*np.diff(line, axis=0).T).sum() for line in lines)
        assert total == pytest.approx(crack["length_mm"], abs=0.002)  # rounding of the record


def _skins(number: int):
    plan = plan_scene("trial", number)
    span = (-8.0, 8.0)
    pair = [
        bare_skin(plan.layup, plan.finish, span_mm=span, step_mm=0.04, rng=plan.rng(1))
        for _ in range(2)
    ]
    return plan, *pair


def test_the_surface_is_missing_exactly_inside_the_crumbled_outline() -> None:
    plan, sound, skin = _skins(12)
    for area in plan.areas:
        break_out(skin, area, plan.rng(2))
    inside = np.any([inside_loop(a.loop_mm, skin.s_mm, skin.v_mm) for a in plan.areas], axis=0)
    assert inside.any()
    lost = sound.height_mm - skin.height_mm
    assert np.array_equal(lost[~inside], np.zeros(np.sum(~inside)))
    assert np.mean(lost[inside] > 0) > 0.99  # fine roughness may fill a node at the rim


def test_the_groove_opens_along_the_centre_line() -> None:
    plan, sound, skin = _skins(6)
    for fracture in plan.fractures:
        cut_fracture(skin, fracture, plan.rng(3))
    step_v = skin.v_mm[1, 0] - skin.v_mm[0, 0]
    for fracture in plan.fractures:
        run = fracture.runs[0]
        wide = run.widths_mm > 0.1  # two and a half nodes of this grid
        at = (run.points_mm[wide] - [skin.s_mm[0, 0], 0]) / [skin.step_mm, step_v]
        column, row = np.round(at).astype(int).T
        seen = (column >= 0) & (column < skin.s_mm.shape[1])
        lost = (sound.height_mm - skin.height_mm)[row[seen], column[seen]]
        assert np.mean(lost > 0.02) > 0.9  # ragged lips may close a node of a coarse grid


def _profile_skin(number: int):
    plan = plan_profile("trial", number)
    span = (silhouette_s(plan) - 6.0, silhouette_s(plan) + 6.0)
    return plan, bare_skin(plan.layup, plan.finish, span_mm=span, step_mm=0.03, rng=plan.rng(1))


def test_the_silhouette_is_the_outermost_of_the_points_that_the_camera_sees() -> None:
    plan, skin = _profile_skin(5)
    radius, view = plan.layup.radius_mm, plan.view
    outline = np.array(profile_truth(plan, skin, "x.jpg")["outline_px"])
    for i in range(5, len(outline), 11):
        points = np.column_stack([skin.s_mm[3 * i], skin.v_mm[3 * i]])
        seen = view.project(on_surface(points, radius, skin.height_mm[3 * i]))
        # 0.5 px: the rows beside this one are seen too, by a camera that looks down 2 degrees.
        assert seen[:, 0].max() == pytest.approx(outline[i, 0], abs=0.5)


def test_bulge_truth_follows_the_design() -> None:
    plan, skin = _profile_skin(5)
    truth = profile_truth(plan, skin, "x.jpg")
    for bulge in truth["bulges"]:
        designed = plan.finish.bulges_mm[bulge["layer"]]
        # The dome varies by 15 % (1 sigma) along the edge; shims stand 0.06 mm in or out.
        assert bulge["peak_mm"] == pytest.approx(designed, abs=0.15 + 0.35 * abs(designed))
    assert any(b["is_bulge"] for b in truth["bulges"])


def test_the_profile_plane_maps_back_to_outward_and_height() -> None:
    plan = plan_profile("trial", 11)
    radius = plan.layup.radius_mm
    place = np.array([[1.3, 4.0], [-2.0, 7.5]])
    world = np.column_stack([radius + place[:, 0], place[:, 1], np.full(2, -radius)])
    px = np.column_stack([plan.view.project(world), np.ones(2)])
    back = px @ np.array(homography(plan.view, radius, -radius)).T
    assert back[:, :2] / back[:, 2:] == pytest.approx(place, abs=1e-6)  # float rounding
