"""A whole order without the app: measured, killed, resumed, on a cluster, on paper."""

import csv
import io
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from pypdf import PdfReader

from damagescore.cli import main
from damagescore.errors import DamageScoreError, UsageError
from damagescore.inspection.record import Part
from damagescore.limits import demo_limit_set_text, parse_limit_set
from damagescore.measure import MeasureOptions
from damagescore.orders import OrderPart, OrderPhoto, new_order
from damagescore.orders.journal import Job, Journal
from damagescore.orders.measuring import measure_jobs, sentence_of
from damagescore.orders.papers import summary_csv
from damagescore.orders.results import PartResult, Shot, part_result, ranked
from damagescore.photo import read_photo
from damagescore.scale import ScaleRequest
from damagescore.scenes.render import render, write_scene
from damagescore.scenes.spec import CameraSpec, CrackSpec, SceneSpec
from tests.inspection_samples import SHA, limits, line_finding, measurement

LIMITS = parse_limit_set(demo_limit_set_text(), name="demonstration limits")

OPTIONS = MeasureOptions(
    scale=ScaleRequest(kind="squares", size_mm=10.0),
    smallest_limit_mm=LIMITS.smallest_length_mm,
)

ORDER = """
number = "HVRW-0917"
[[part]]
part_number = "HV-2210"
serial_number = "0117"
square_side_mm = 10
[[part]]
part_number = "HV-2210"
serial_number = "0118"
square_side_mm = 10
"""

STARTED = 60  # s: the first photo of a fresh process on two busy cores


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two parts with two photos each, one file that is no photo, and one without a name."""
    folder = tmp_path_factory.mktemp("order")
    camera = CameraSpec(size_px=(900, 675), px_per_mm=13.0)
    spec = SceneSpec(name="a", camera=camera, cracks=(CrackSpec(layer=4, width_mm=0.5),))
    (photo, _) = write_scene(render(spec, 1), folder)
    data = photo.read_bytes()
    photo.unlink()
    for number, name in enumerate(("0117_1", "0117_2", "0118_1", "0118_2")):
        # Bytes behind the end of a JPEG change its hash and none of its pixels.
        (folder / f"HVRW-0917_{name}.jpg").write_bytes(data + bytes([number]))
    (folder / "HVRW-0917_0118_3.jpg").write_bytes(b"no photo at all")
    (folder / "IMG_1.jpg").write_bytes(data + b"x")
    (folder / "order.toml").write_text(ORDER)
    (folder / "limits.toml").write_text(demo_limit_set_text())
    return folder


def arguments(folder: Path, out: Path, *more: str) -> list[str]:
    return [
        "order", str(folder), "--limits", str(folder / "limits.toml"), "--out", str(out), *more,
    ]  # fmt: skip


@pytest.fixture(scope="module")
def whole(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Papers of a run that nothing disturbed."""
    out = tmp_path_factory.mktemp("whole")
    assert main(arguments(folder, out, "--workers", "1")) == 3
    return out


def results_in(out: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in (out / "journal").glob("*.json")}


def jobs_in(folder: Path) -> list[Job]:
    paths = sorted(folder.glob("HVRW*_[12].jpg"))
    return [Job(path=p, sha256=read_photo(p).sha256, options=OPTIONS) for p in paths]


def test_an_order_gives_its_papers(whole: Path) -> None:
    assert len(results_in(whole)) == 4
    for part in ("hv-2210-0117", "hv-2210-0118"):
        record = json.loads((whole / part / "record.json").read_text())
        assert len(record["inspection"]["photos"]) == 2
        assert record["inspection"]["part"]["work_order"] == "HVRW-0917"
    words = " ".join(p.extract_text() for p in PdfReader(whole / "order.pdf").pages)
    for said in ("HV-2210 0117", "IMG_1.jpg", "HVRW-0917_0118_3.jpg", "NOT SIGNED", "INVENTED"):
        assert said in words
    rows = list(csv.DictReader(io.StringIO((whole / "summary.csv").read_text())))
    assert [r["result"] for r in rows[2:]] == ["PHOTO TO BE ASSIGNED"] * 2


def test_killed_in_the_middle_it_measures_only_what_is_missing(
    folder: Path, whole: Path, tmp_path: Path
) -> None:
    command = [
        sys.executable,
        "-m",
        "damagescore",
        *arguments(folder, tmp_path, "--workers", "1"),
    ]
    running = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    until = time.monotonic() + STARTED
    while not results_in(tmp_path) and time.monotonic() < until:
        time.sleep(0.01)  # polls until the first result is kept
    os.kill(running.pid, signal.SIGKILL)
    assert running.wait() == -signal.SIGKILL
    first = {p: p.stat().st_mtime_ns for p in (tmp_path / "journal").glob("*.json")}
    assert 1 <= len(first) < 4
    assert not (tmp_path / "order.pdf").exists()
    assert main(arguments(folder, tmp_path, "--workers", "1")) == 3
    assert results_in(tmp_path) == results_in(whole)  # bit for bit
    assert {p: p.stat().st_mtime_ns for p in first} == first  # not measured again


def test_a_damaged_result_is_measured_again(folder: Path, whole: Path, tmp_path: Path) -> None:
    jobs, journal = jobs_in(folder)[:1], Journal(folder=tmp_path)
    text = Journal(folder=whole / "journal").read(jobs[0].key)
    assert text is not None
    journal.write(jobs[0].key, text)
    file = tmp_path / f"{jobs[0].key}.json"
    file.write_bytes(file.read_bytes()[:-200])
    assert journal.read(jobs[0].key) is None
    batch = measure_jobs(jobs, journal, workers=1)
    assert batch.resumed == 0
    assert journal.read(jobs[0].key) == text


def test_other_options_or_another_name_are_another_result(folder: Path) -> None:
    job = jobs_in(folder)[0]
    other = Job(path=job.path, sha256=job.sha256, options=MeasureOptions())
    renamed = Job(path=Path("other.jpg"), sha256=job.sha256, options=OPTIONS)
    assert len({job.key, other.key, renamed.key}) == 3


def test_one_photo_that_fails_does_not_stop_the_rest(folder: Path, tmp_path: Path) -> None:
    jobs = jobs_in(folder)[:1]
    gone = Job(path=tmp_path / "gone.jpg", sha256="b" * 64, options=OPTIONS)
    told: list[tuple[int, int, str]] = []
    batch = measure_jobs(
        [gone, *jobs], Journal(folder=tmp_path / "journal"), workers=1,
        progress=lambda *x: told.append(x),
    )  # fmt: skip
    assert set(batch.measured) == {j.key for j in (gone, *jobs)}
    refused = batch.measured[gone.key]["quality"]
    assert not refused["usable"]
    assert told[-1][:2] == (2, 2)
    assert sentence_of(ValueError("odd")) == "The program failed on it (ValueError: odd)."


def test_workers_below_one_are_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="workers is 0"):
        measure_jobs([], Journal(folder=tmp_path), workers=0)


def test_a_full_or_closed_folder_is_told(tmp_path: Path) -> None:
    (tmp_path / "journal").write_text("a file where the folder should be")
    with pytest.raises(DamageScoreError, match="cannot be kept"):
        Journal(folder=tmp_path / "journal").write("a", "{}")


@pytest.fixture
def cluster() -> Iterator[object]:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as running:
        yield running


@pytest.mark.filterwarnings("ignore")  # the library's own, when a worker is killed
def test_a_cluster_gives_the_same_and_loses_nothing_with_a_worker(
    folder: Path, whole: Path, tmp_path: Path, cluster: object
) -> None:
    jobs, killed = jobs_in(folder), []

    def kill_one(done: int, _total: int, _name: str) -> None:
        if done == 1 and not killed:
            worker = next(iter(cluster.workers.values()))  # type: ignore[attr-defined]
            killed.append(worker.pid)
            os.kill(worker.pid, signal.SIGKILL)

    batch = measure_jobs(
        jobs, Journal(folder=tmp_path / "journal"), progress=kill_one,
        scheduler=cluster.scheduler_address,  # type: ignore[attr-defined]
    )  # fmt: skip
    assert killed
    assert batch.failed == {}
    assert results_in(tmp_path) == results_in(whole)  # bit for bit


def test_no_scheduler_is_told() -> None:
    pytest.importorskip("distributed")
    job = Job(path=Path("a.jpg"), sha256="a", options=OPTIONS)
    with pytest.raises(UsageError, match="cannot be reached"):
        measure_jobs([job], Journal(folder=Path("none")), scheduler="nonsense://x")


def part(serial: str) -> OrderPart:
    return OrderPart(part=Part(part_number="HV-2210", serial_number=serial))


def shot(*, length_mm: float | None = None, usable: bool = True) -> Shot:
    findings = [] if length_mm is None else [line_finding("crack-1", (0, length_mm / 0.04))]
    return Shot(
        photo=OrderPhoto(sha256=SHA, name="a.jpg"), options=MeasureOptions(),
        measurement=measurement(*findings, usable=usable),
    )  # fmt: skip


def result(serial: str, *shots: Shot) -> PartResult:
    return part_result(part(serial), shots, limits=limits(), by="R. Alder")


def test_parts_that_need_an_inspector_first_stand_first() -> None:
    lost = Shot(
        photo=OrderPhoto(sha256="b", name="b.jpg"), options=MeasureOptions(), fault="Gone."
    )
    parts = [
        result("sound", shot()),
        result("near", shot(length_mm=4.5)),
        result("no photo", lost),
        result("at the limit", shot(length_mm=5.0)),
        result("refused", shot(usable=False)),
        result("beyond", shot(length_mm=9.0)),
    ]
    assert [r.part.part.serial_number for r in ranked(parts)] == [
        "beyond", "at the limit", "refused", "no photo", "near", "sound",
    ]  # fmt: skip
    assert parts[2].to_retake == (("b.jpg", "Gone."),)
    assert parts[4].to_retake == (("a.jpg", "Too blurred."),)


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", " ="])
def test_no_cell_of_the_summary_is_a_formula(start: str) -> None:
    evil = f"{start}HYPERLINK(1)"
    order = new_order("HVRW-1", (part(evil.strip()),), customer_reference=evil.strip())
    text = summary_csv(order, [part_result(order.parts[0], [], limits=None, by="R. Alder")])
    cells = [c for row in csv.reader(io.StringIO(text)) for c in row]
    assert not [c for c in cells if c.strip()[:1] in {"=", "+", "-", "@"}]
    assert any("HYPERLINK" in c for c in cells)


def test_job_cards_are_written_one_file_a_part(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert (
        main(["jobcards", "--order", str(folder / "order.toml"), "--out", str(tmp_path)]) == 0
    )
    files = [Path(x) for x in capsys.readouterr().out.split()]
    assert [f.name for f in files] == ["001_hv-2210-0117.pdf", "002_hv-2210-0118.pdf"]
    words = PdfReader(files[0]).pages[0].extract_text()
    for said in ("HVRW-0917", "0117", "100.0 mm by calliper"):
        assert said in words


def test_a_part_is_compared_before_and_after(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before, after = (str(folder / f"HVRW-0917_0117_{n}.jpg") for n in (1, 2))
    out = str(tmp_path)
    code = main(
        ["repair", before, after, "--out", out, "--square-side", "10", "--workers", "1"]
    )
    said = capsys.readouterr().out
    assert code == 0
    assert "crack length, total: no difference shown" in said  # the same pixels twice
    assert (tmp_path / "before_after.pdf").read_bytes().startswith(b"%PDF-")


def test_in_two_orders_the_part_has_to_be_named(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["repair", str(folder), str(folder), "--out", str(tmp_path)]
    assert main([*asked, "--serial-number", "0999"]) == 2
    assert "0 parts with serial '0999'" in capsys.readouterr().err


def test_a_folder_that_is_no_order_is_told(
    tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    limits_file = str(folder / "limits.toml")
    asked = ["order", str(tmp_path), "--limits", limits_file, "--out", str(tmp_path / "out")]
    assert main(asked) == 2
    assert "is no order" in capsys.readouterr().err


def test_assess_takes_an_order_too(
    folder: Path, whole: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # What was measured already is taken over, so that only the papers are written anew.
    shutil.copytree(whole / "journal", tmp_path / "journal")
    asked = ["assess", str(folder), "--limits", str(folder / "limits.toml")]
    assert main([*asked, "--out", str(tmp_path), "--workers", "1"]) == 3
    assert "Order HVRW-0917: 2 parts" in capsys.readouterr().out
    assert (tmp_path / "order.pdf").exists()
    assert results_in(tmp_path) == results_in(whole)
