"""Folders of photos: the same results for any number of workers, in order, nothing lost."""

import shutil
from pathlib import Path

import pytest

from damagescore.batch import measure_files
from damagescore.errors import UsageError
from damagescore.measure import MeasureOptions
from damagescore.scale import ScaleRequest
from damagescore.scenes.render import render, write_scene
from damagescore.scenes.spec import CameraSpec, CrackSpec, SceneSpec

OPTIONS = MeasureOptions(scale=ScaleRequest(kind="squares", size_mm=10.0))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("photos")
    camera = CameraSpec(size_px=(1100, 825), px_per_mm=16.0)
    spec = SceneSpec(name="a", camera=camera, cracks=(CrackSpec(layer=4, width_mm=0.4),))
    write_scene(render(spec, 1), folder)
    shutil.copy(folder / "a.jpg", folder / "c.jpg")
    (folder / "b.jpg").write_bytes(b"no photo at all")
    return folder


def test_workers_change_nothing_but_the_time(folder: Path) -> None:
    jobs = [(folder / name, OPTIONS) for name in ("a.jpg", "b.jpg", "c.jpg")]
    here = list(measure_files(jobs, workers=1))
    there = list(measure_files(jobs, workers=2))
    assert here == there  # bit for bit: the same code on the same pixels
    assert [m["photo"]["path"] for m in there] == ["a.jpg", "b.jpg", "c.jpg"]
    assert [m["quality"]["usable"] for m in there] == [True, False, True]
    assert there[0]["findings"]


def test_a_number_of_workers_below_one_is_refused(folder: Path) -> None:
    with pytest.raises(UsageError, match="workers is 0"):
        list(measure_files([(folder / "a.jpg", OPTIONS)], workers=0))
