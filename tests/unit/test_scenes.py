"""Scenes are reproducible, their sets stay apart, and wrong use is told plainly."""

import json
from dataclasses import fields, replace

import cv2
import numpy as np
import pytest

from damagescore.errors import UsageError
from damagescore.scenes import (
    CameraSpec,
    CrackSpec,
    MarkSpec,
    SceneSpec,
    SensorSpec,
    StackSpec,
    checking_specs,
    demo_specs,
    development_specs,
    render,
    write_scene,
)
from damagescore.scenes.__main__ import main
from damagescore.scenes.checking import checking_table
from damagescore.scenes.development import (
    broad_specs,
    broad_table,
    development_table,
    hard_specs,
    hard_table,
)
from damagescore.scenes.spec import LightSpec
from damagescore.scenes.surroundings import BACKDROP_LEVELS, backdrop

TINY = SceneSpec(
    name="tiny",
    camera=CameraSpec(size_px=(320, 240), px_per_mm=4.0),
    mark=MarkSpec(ids=(3,)),
    cracks=(CrackSpec(layer=4, length_mm=20, width_mm=0.5),),
)


def test_same_spec_and_seed_give_the_same_bytes(tmp_path):
    first, second = (
        write_scene(render(TINY, 5), tmp_path / name, with_mask=True) for name in "ab"
    )
    for one, other in zip(first, second, strict=True):
        assert one.read_bytes() == other.read_bytes()


def test_another_seed_gives_another_photo():
    assert not np.array_equal(render(TINY, 5).image, render(TINY, 6).image)


def test_written_files_read_back(tmp_path):
    photo, record, mask = write_scene(render(TINY, 5), tmp_path, with_mask=True)
    truth = json.loads(record.read_text())
    assert truth["file"] == photo.name
    assert truth["mask"] == mask.name
    height, width = cv2.imread(str(photo)).shape[:2]
    assert [width, height] == truth["image_size"] == [320, 240]
    assert set(np.unique(cv2.imread(str(mask), cv2.IMREAD_UNCHANGED))) <= set(range(6))


def test_truth_has_the_agreed_keys():
    truth = render(TINY, 5).truth
    agreed = (
        "id file view face radius_mm expected scale layers cracks bond_gaps crumbling bulges "
        "markers camera total_crack_length_mm total_crumbling_area_mm2 image_size"
    )
    assert set(agreed.split()) <= set(truth)
    assert {"index", "kind", "polygon_px", "thickness_mm"} <= set(truth["layers"][0])
    assert {"verdict", "reason"} == set(truth["expected"])


def test_out_of_focus_loses_its_edges():
    sharp = render(TINY, 5)
    soft = render(replace(TINY, sensor=SensorSpec(blur_px=4.0)), 5)
    detail = [cv2.Laplacian(s.image, cv2.CV_64F).var() for s in (sharp, soft)]
    assert detail[1] < 0.2 * detail[0]


def _apart(one, other):
    if isinstance(one[0], tuple):
        return all(a[1] < b[0] or b[1] < a[0] for a in one for b in other)
    return not set(one) & set(other)


@pytest.mark.parametrize("field", [f.name for f in fields(development_table())])
@pytest.mark.parametrize(
    "table",
    [development_table(), hard_table(), broad_table()],
    ids=["plain", "hard", "broad"],
)
def test_development_and_checking_share_no_nuisance(table, field):
    assert _apart(getattr(table, field), getattr(checking_table(), field))


@pytest.mark.parametrize(
    ("specs", "table"),
    [
        (development_specs(36), development_table()),
        (hard_specs(36), hard_table()),
        (broad_specs(36), broad_table()),
        (checking_specs(36), checking_table()),
    ],
    ids=["development", "hard", "broad", "checking"],
)
def test_drawn_specs_keep_to_their_table(specs, table):
    def within(value, bands):
        return any(low <= value <= high for low, high in bands)

    for spec in specs:
        assert spec.stack.rubber in table.rubber
        assert spec.stack.rubber_layers in table.rubber_layers
        assert within(spec.stack.rubber_mm, table.rubber_mm)
        assert within(spec.camera.px_per_mm, table.px_per_mm)
        assert within(spec.light.elevation_deg, table.elevation_deg)
        if spec.mark.kind in ("aruco_4x4_50", "apriltag_36h11"):
            assert set(spec.mark.ids) <= set(table.mark_ids)
    views = {spec.view for spec in specs}
    marks = {spec.mark.kind for spec in specs}
    assert views == {"face", "profile"}
    assert marks == {"aruco_4x4_50", "apriltag_36h11", "steel_rule", "two_dots"}


@pytest.mark.parametrize("kind", sorted(BACKDROP_LEVELS))
def test_every_backdrop_is_as_bright_as_its_name_says(kind):
    light = LightSpec(room_kelvin=6500.0)
    far = backdrop(kind, (240, 320), light, np.random.default_rng(1))
    assert far.shape == (240, 320, 3)
    assert far.min() >= 0
    # patterns have tones of 0.1 to 3 times the level, the tint of the room a few per cent
    assert 0.3 < far.mean() / BACKDROP_LEVELS[kind] < 5


def test_an_unknown_backdrop_names_the_known_ones():
    with pytest.raises(UsageError, match="attic") as said:
        backdrop("attic", (24, 32), LightSpec(), np.random.default_rng(1))
    assert "shelves" in said.value.remedy


def test_photos_can_be_made_from_any_number_on(tmp_path):
    main(["development", "--out", str(tmp_path / "all"), "--count", "3", "--width", "240"])
    main(["development", "--out", str(tmp_path / "last"), "--first", "2", "--count", "1",
          "--width", "240"])  # fmt: skip
    (photo,) = (tmp_path / "last").glob("*.jpg")
    assert photo.read_bytes() == (tmp_path / "all" / photo.name).read_bytes()


def test_a_first_photo_below_zero_is_refused(tmp_path, capsys):
    assert main(["hard", "--out", str(tmp_path), "--first", "-1"]) == 2
    assert "Give a number of 0 or more" in capsys.readouterr().err


def test_a_longer_list_begins_with_the_shorter():
    assert development_specs(8)[:3] == development_specs(3)


def test_demo_shows_every_kind_at_least_once():
    specs = demo_specs()
    assert len(specs) >= 14
    assert len({spec.name for spec in specs}) == len(specs)
    kinds = {crack.kind for spec in specs for crack in spec.cracks}
    assert kinds == {"mid_layer", "bond_line", "surface_check"}
    assert any(spec.crumbling for spec in specs)
    assert any(spec.bulges for spec in specs)
    assert sum(spec.verdict != "ok" for spec in specs) >= 2
    assert any(spec.camera.size_px == (4000, 3000) for spec in specs)


def test_unknown_finish_and_mark_are_named():
    with pytest.raises(UsageError, match="tartan"):
        render(replace(TINY, stack=StackSpec(rubber="tartan")), 1)
    with pytest.raises(UsageError, match="tartan"):
        render(replace(TINY, mark=MarkSpec(kind="tartan")), 1)


def test_command_writes_photo_truth_and_mask(tmp_path, capsys):
    assert main(["checking", "--out", str(tmp_path), "--count", "2", "--width", "240"]) == 0
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == [
        f"chk-00{i}{end}" for i in range(2) for end in (".jpg", ".json", "_mask.png")
    ]
    capsys.readouterr()  # the progress bar


def test_command_refuses_a_count_below_one(tmp_path, capsys):
    assert main(["demo", "--out", str(tmp_path), "--count", "0"]) == 2
    assert "count is 0" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())
