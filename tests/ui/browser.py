"""A server of the app on a free port, and a Chromium to look at it."""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).parents[2]

ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

START_SECONDS = 60  # a cold start reads OpenCV and scikit-image from a slow disk


def chromium() -> str | None:
    """Path of Debian's Chromium, where it is installed."""
    return shutil.which("chromium")


@contextmanager
def server(data: Path) -> Iterator[str]:
    """Run the app on a free port with its data in a folder; give its address."""
    port = _free_port()
    log = data / "server.log"
    data.mkdir(parents=True, exist_ok=True)
    with log.open("wb") as out:
        running = subprocess.Popen(
            [sys.executable, "-m", "streamlit", "run", "app.py", "--server.port", str(port)],
            cwd=ROOT,
            env={**os.environ, "DAMAGESCORE_DATA": str(data)},
            stdout=out,
            stderr=subprocess.STDOUT,
        )
        try:
            _wait(port, running, log)
            yield f"http://localhost:{port}"
        finally:
            running.terminate()
            running.wait(timeout=20)


@contextmanager
def browser() -> Iterator[Browser]:
    """Start Chromium."""
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium(), args=list(ARGUMENTS))
        try:
            yield started
        finally:
            started.close()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait(port: int, running: subprocess.Popen[bytes], log: Path) -> None:
    until = time.monotonic() + START_SECONDS
    while time.monotonic() < until:
        if running.poll() is not None:
            break
        try:
            with urllib.request.urlopen(f"http://localhost:{port}/_stcore/health", timeout=2):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)  # polls until the server answers
    raise RuntimeError("The app did not start:\n" + log.read_text(errors="replace"))
