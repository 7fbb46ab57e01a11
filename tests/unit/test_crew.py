"""The processes that measure beside the page start whatever the page's own paths are."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from damagescore.ui.background import crew
from damagescore.ui.background.waiting import Waiting, waiting_for


def test_a_folder_of_the_page_hides_nothing_from_a_process(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # As Streamlit does while a page runs; the folder has an `inspect` of its own.
    folder = str(Path(crew.__file__).parents[1])
    monkeypatch.setattr(sys, "path", [folder, *sys.path])
    places = crew._places()
    assert folder not in places.split(os.pathsep)
    found = subprocess.run(
        [sys.executable, "-c", "import inspect, damagescore.ui; print(inspect.cleandoc(' a'))"],
        env={**os.environ, "PYTHONPATH": places}, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert found.stdout == "a\n"


class _Line:
    """Keeps what a process would be sent."""

    def __init__(self) -> None:
        self.sent: list[tuple[Waiting, int]] = []

    def send(self, said: tuple[Waiting, int]) -> None:
        self.sent.append(said)


def test_a_photo_alone_has_all_cores_and_several_share_them(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    cores = 4
    made = crew.Crew(photos=tmp_path, tiles=tmp_path, most=cores)

    def started() -> crew.Worker:
        made.workers.append(crew.Worker(None, _Line()))
        return made.workers[-1]

    monkeypatch.setattr(made, "_start", started)
    photos = [
        waiting_for("a", sha256=f"{n:064}", name="a.jpg", options={}, by="R. Alder")
        for n in range(6)
    ]
    made.assign(photos[:1])
    made.assign(photos[1:2])
    made.assign(photos[2:])
    threads = [[count for _, count in w.line.sent] for w in made.workers]
    assert threads == [[4], [2], [1], [1]]
