"""The processes that measure beside the page start whatever the page's own paths are."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from damagescore.ui.background import crew


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
