"""Commands of studies and of the check target."""

import json

import cv2
import numpy as np
import pytest

from damagescore.capability.csv_tables import read_sites, sites_csv
from damagescore.capability.detection import Site
from damagescore.capability.rendered import sites_of_photo
from damagescore.cli import main
from tests.external.test_crossed_study import STUDY
from tests.target_photos import photo_of, printed
from tests.training_samples import MM_PER_PX, crack


def _run(capsys, *arguments: str) -> tuple[int, dict]:
    code = main(arguments)
    return code, json.loads(capsys.readouterr().out)


def test_repeatability(tmp_path, capsys) -> None:
    table = tmp_path / "study.csv"
    rows = [
        f"P{p},{'ABC'[i]},{r},{STUDY[p, i, r]}"
        for p in range(10) for i in range(3) for r in range(3)
    ]  # fmt: skip
    table.write_text("part,inspector,repeat,value\n" + "\n".join(rows))
    code, plain = _run(capsys, "repeatability", str(table), "--tolerance", "8")
    assert (code, plain["categories"]) == (0, 4)


def test_agreement_of_grades_and_numbers(tmp_path, capsys) -> None:
    table = tmp_path / "grades.csv"
    table.write_text(
        "p,A,B\n" + "\n".join(f"p{k},{k % 4},{(k + k % 5 // 4) % 4}" for k in range(20))
    )
    code, plain = _run(capsys, "agreement", str(table))
    assert (code, len(plain["statistics"])) == (0, 5)
    code, plain = _run(capsys, "agreement", str(table), "--numbers")
    assert (code, len(plain["statistics"])) == (0, 3)


def test_detection_from_a_table(tmp_path, capsys) -> None:
    rng = np.random.default_rng(8)
    sites = [
        Site(size_mm=float(a), found=bool(rng.random() < a**3 / (1 + a**3)))
        for a in rng.uniform(0.2, 4, 60)
    ]
    table = tmp_path / "sites.csv"
    table.write_text(sites_csv([*sites, Site(size_mm=None, found=False)]))
    code, plain = _run(capsys, "detection", str(table))
    assert code == 0
    assert plain["curve"]["n"] == 60
    assert plain["false_calls"]["n"] == 1


def test_detection_of_a_folder_without_truth_is_told(tmp_path, capsys) -> None:
    assert main(["detection", str(tmp_path)]) == 3
    assert "no usable face photo" in capsys.readouterr().err


def test_sites_are_read_back() -> None:
    sites = (Site(size_mm=1.25, found=True, signal=0.5), Site(size_mm=None, found=False))
    assert read_sites(sites_csv(sites)) == sites


def test_sites_of_a_photo_with_truth() -> None:
    truth = {
        "cracks": [
            {"polylines_px": [[[100, 200], [250, 200]]], "length_mm": 6.0, "layer": 0},
            {"polylines_px": [[[100, 400], [250, 400]]], "length_mm": 6.0, "layer": 2},
        ],
        "layers": [
            {"index": 0, "kind": "rubber"}, {"index": 1, "kind": "shim"},
            {"index": 2, "kind": "rubber"}, {"index": 4, "kind": "rubber"},
            {"index": 6, "kind": "rubber"},
        ],
    }  # fmt: skip
    findings = [crack(length_px=100), crack("x", start=(300.0, 500.0), layer=4)]
    sites = sites_of_photo(truth, findings, mm_per_px=MM_PER_PX)
    assert [(s.size_mm, s.found) for s in sites] == [
        (6.0, True), (6.0, False), (None, True), (None, False),
    ]  # fmt: skip
    assert sites[0].signal == pytest.approx(4.1, abs=0.2)  # 100 of 150 px and the reach


def test_check_target(tmp_path, capsys) -> None:
    photo = tmp_path / "target.png"
    cv2.imwrite(str(photo), photo_of(printed()).rgb)
    code, plain = _run(capsys, "target", str(photo), "--line", "100")
    assert (code, plain["passed"]) == (0, True)
