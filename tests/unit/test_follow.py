"""From records and plans to papers: gathering, histories, fleet table, comparisons."""

import csv
import io
import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from damagescore.cli import DONE, USAGE, main
from damagescore.endurance.compare import compare
from damagescore.errors import DamageScoreError, RecordError, UsageError
from damagescore.follow import HistoryJob, gather, keep, run_history
from damagescore.follow.history_run import safe_name
from damagescore.follow.same import follow_findings, two_looks
from damagescore.history.fleet import by_hours_left, fleet_of
from damagescore.history.lives import lives_of
from damagescore.inspection import Part, add_photo, assess_inspection, new_inspection
from damagescore.inspection.record import Inspection
from damagescore.records import Store
from damagescore.report.compare_report import comparison_csv, comparison_json, comparison_pdf
from damagescore.report.fleet_csv import fleet_csv
from damagescore.report.tables import record_json
from tests.conftest import flat_edge
from tests.inspection_samples import BY, limits, line_finding, measurement
from tests.unit.test_endurance import part, write_video
from tests.unit.test_same_crack import HEIGHT, WIDTH, photo_at

WOBBLE = (0.5, -0.7, 0.4, -0.2, 0.6, -0.5)


def inspected(
    number: int, length_px: float, *, serial: str = "0117", sha256: str = "a" * 64, **more: Any
) -> Inspection:
    hours = 100.0 * number
    part = Part(part_number="HV-2210", serial_number=serial, hours=hours)
    at = f"2031-03-{number + 1:02d}T08:00:00+00:00"
    begun = new_inspection(part, by=BY, at=at, inspection_id=f"{serial}-{number}")
    found = measurement(line_finding("crack-1", (60.0, 60.0 + length_px)))
    found["photo"]["sha256"] = sha256
    one = add_photo(
        begun, sha256=sha256, name="a.png", measurement={**found, **more}, by=BY, at=at
    )
    return assess_inspection(one, limits(), by=BY, at=at)


def grown(serial: str = "0117", rate: float = 12.0) -> list[Inspection]:
    return [inspected(i, 20 + rate * i + w, serial=serial) for i, w in enumerate(WOBBLE)]


def test_histories_come_from_record_files_and_from_a_data_folder(tmp_path: Path) -> None:
    for inspection in grown():
        folder = tmp_path / "papers" / inspection.id
        folder.mkdir(parents=True)
        text = record_json(inspection, software="x")
        (folder / "record.json").write_text(text, encoding="utf-8")
    store = Store(tmp_path / "data")
    for inspection in grown("0118", 5.0):
        store.save(inspection)
    store.close()
    found = gather([tmp_path / "papers", tmp_path / "data"])
    assert len(found.inspections) == 12
    said: list[str] = []
    written = run_history(found, HistoryJob(next_use=700.0), tmp_path / "out", say=said.append)
    assert {p.name for p in written} == {"fleet.csv", "history.pdf", "history.json"}
    assert len(written) == 5
    assert said[0].startswith("HV-2210 · 0117: 6 inspections, 64 % of the limit used; ")
    plain = json.loads((tmp_path / "out" / "HV-2210-0117" / "history.json").read_text())
    series = next(s for s in plain["series"] if s["id"] == "long")
    assert len(series["points"]) == 6
    assert series["forecast"]["chance_by_next"] >= 0
    assert (tmp_path / "out" / "HV-2210-0117" / "history.pdf").read_bytes().startswith(b"%PDF")


def test_the_command_history_runs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = Store(tmp_path / "data")
    for inspection in grown():
        store.save(inspection)
    store.close()
    args = ["history", str(tmp_path / "data"), "--out", str(tmp_path / "out")]
    assert main([*args, "--rule", "share", "--share", "0.4"]) == DONE
    assert "HV-2210 · 0117" in capsys.readouterr().out
    assert main(["history", str(tmp_path / "none"), "--out", str(tmp_path / "out")]) == USAGE
    assert main([*args, "--chance", "0.9"]) == USAGE


def test_keeping_stores_each_inspection_once(tmp_path: Path) -> None:
    store = Store(tmp_path / "data")
    data = b"not even a photo"
    sha256 = store.put_photo(data)
    gathered = gather([])
    gathered.inspections = [inspected(1, 30, sha256=sha256)]
    gathered.loaders = [lambda _: data]
    keep(gathered, store)
    keep(gathered, store)
    assert store.revision("0117-1") == 1
    store.close()


@pytest.mark.parametrize("content", ["{}", "not json", '{"inspection": 3}'])
def test_files_that_are_no_record_are_refused(tmp_path: Path, content: str) -> None:
    (tmp_path / "record.json").write_text(content)
    with pytest.raises(DamageScoreError, match="record"):
        gather([tmp_path])


def test_an_empty_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"holds no record\.json"):
        gather([tmp_path])
    with pytest.raises(RecordError, match="not at hand"):
        gather([]).photo_bytes("0" * 64)


def test_the_fleet_is_ordered_by_usage_or_by_hours() -> None:
    lives, _ = lives_of([*grown("0117", 5.0), *grown("=0118", 12.0), *grown("0119", 0.0)])
    rows = fleet_of(lives)
    assert [r.life.serial_number for r in rows] == ["=0118", "0117", "0119"]
    assert by_hours_left(rows)[0].life.serial_number == "=0118"
    assert rows[2].left is None  # nothing grows


def test_no_cell_of_the_fleet_can_be_run_as_a_formula() -> None:
    lives, _ = lives_of(grown("=HYPERLINK(1)"))
    rows = list(csv.DictReader(io.StringIO(fleet_csv(fleet_of(lives)))))
    assert rows[0]["serial_number"] == "'=HYPERLINK(1)"
    assert float(rows[0]["usage_percent"]) == pytest.approx(63.6)  # 79.5 px of 0.04 mm over 5
    assert rows[0]["invented_limits"] == "yes"


def test_part_names_become_file_names() -> None:
    assert safe_name("HV/2210 · ../0117") == "HV-2210-..-0117"
    assert safe_name("···") == "part"


def with_photos(folder: Path) -> tuple[Any, Any]:
    """A life of three inspections whose photos are at hand, each from another place."""
    edge = flat_edge(width=WIDTH, height=HEIGHT).to_dict()
    frame = {"layers": edge.pop("layers"), "edge": edge}
    photos: dict[str, bytes] = {}
    records = []
    for number, left in enumerate((100, 140, 180)):
        grey = photo_at(left, noise=number).grey.astype(np.uint8)
        data = bytes(cv2.imencode(".png", grey)[1].tobytes())
        sha256 = f"{number}" * 64
        photos[sha256] = data
        start = 400.0 - left
        finding = line_finding("crack-1", (start, start + 60 + 30 * number)).to_dict()
        records.append(inspected(number, 50, sha256=sha256, findings=[finding], **frame))
    (life,), _ = lives_of(records)
    return life, photos.__getitem__


def test_findings_are_followed_through_the_photos_of_a_part(tmp_path: Path) -> None:
    life, loader = with_photos(tmp_path)
    found = follow_findings(life, loader, limit_set=limits())
    assert found is not None
    assert found.refused == ()
    assert len(found.tracks) == 1
    sizes = [m.value for _, m in found.predictions[0].series.measured]
    assert sizes == pytest.approx([2.4, 3.6, 4.8])  # 60, 90 and 120 px of 0.04 mm
    assert found.predictions[0].series.limit == 5.0
    assert [p.state for p in found.last.pairs] == ["grown"]


def test_two_inspections_become_pictures_of_one_frame(tmp_path: Path) -> None:
    life, loader = with_photos(tmp_path)
    found = two_looks(*life.inspections[:2], life, loader, lines=False)
    assert found is not None
    assert found.views is not None
    one, two = found.views.earlier, found.views.later
    assert one.shape == two.shape
    inner = (slice(4, -4), slice(20, -20))
    likeness = np.corrcoef(one[inner][..., 0].ravel(), two[inner][..., 0].ravel())[0, 1]
    assert likeness > 0.9  # the same texture but for noise of 1.5 grey levels


def test_a_comparison_is_written_without_photos() -> None:
    parts = [
        part("=E-1", "A", (0, 0.0), (100, 6.0), (200, 14.0)),
        part("E-2", "B", (0, 0.0), (300, 6.0)),
    ]
    found = compare(parts, title="T", spectrum="S")
    assert comparison_pdf(found).startswith(b"%PDF")
    assert comparison_pdf(found) == comparison_pdf(found)
    rows = list(csv.DictReader(io.StringIO(comparison_csv(found))))
    assert [(r["part"], r["reached"]) for r in rows] == [("'=E-1", "yes"), ("E-2", "no")]
    plain = json.loads(comparison_json(found))
    assert plain["criteria"][0]["pairs"][0]["low"] == 1.5  # 300 over 200 hours


def test_a_test_is_compared_from_its_plan(tmp_path: Path) -> None:
    """A photo that is refused is no value; the readings tell the parts apart."""
    (tmp_path / "a.png").write_bytes(cv2.imencode(".png", photo_at(0).rgb)[1].tobytes())
    write_video(tmp_path / "v.avi")
    (tmp_path / "r1.csv").write_text("hours,stiffness\n0,100\n100,70\n")
    (tmp_path / "r2.csv").write_text("hours,stiffness\n0,100\n100,95\n")
    (tmp_path / "l.toml").write_text(
        'title = "Invented"\ninvented = true\n[[criteria]]\nid = "stiff"\ntext = "80 %"\n'
        'quantity = "stiffness_retention"\nstatistic = "smallest"\ndirection = "min"\n'
        'limit = 80\nunit = "%"\n'
    )
    (tmp_path / "t.toml").write_text(
        'title = "T"\nlimits = "l.toml"\nscale = "squares"\nsize_mm = 10\n'
        '[[part]]\nname = "E-1"\nreadings = "r1.csv"\n'
        '[[part.look]]\nhours = 0\nphoto = "a.png"\n'
        '[[part]]\nname = "E-2"\nreadings = "r2.csv"\n'
        '[[part.look]]\nhours = 0\nuntil_hours = 100\nframes = 2\nvideo = "v.avi"\n'
    )
    args = [
        "compare",
        str(tmp_path / "t.toml"),
        "--out",
        str(tmp_path / "out"),
        "--workers",
        "1",
    ]
    assert main(args) == DONE
    assert len(list((tmp_path / "out" / "frames").glob("v-*.png"))) == 2
    plain = json.loads((tmp_path / "out" / "compare.json").read_text())
    lives = plain["criteria"][0]["lives"]
    assert [(x["not_before"], x["by"]) for x in lives] == [(0, 100), (100, None)]
    assert (tmp_path / "out" / "compare.pdf").read_bytes().startswith(b"%PDF")
