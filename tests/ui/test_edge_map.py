"""The edge map lays out what was found where it was found."""

from dataclasses import replace
from pathlib import Path

import pytest

from damagescore.quantity import Measured, NotMeasured
from damagescore.ui.edge_map import plan_of
from tests.ui.filled import CRACK, filled, partly_judged, record

MM_PER_PX = 0.04  # of the photo in `filled`
INCH = 25.4  # mm, exact (international yard and pound agreement, 1959)


def test_a_finding_lies_at_its_place_along_its_layer(tmp_path: Path) -> None:
    entry = filled(tmp_path).photos[0]
    for unit, factor in (("mm", 1.0), ("in", INCH)):
        plan = plan_of(entry, unit=unit)  # type: ignore[arg-type]
        assert plan is not None
        crack = plan["findings"][0]
        line = crack["lines"][0]
        assert line["layer"] == crack["layer"]
        ends = [line["points"][0][0], line["points"][-1][0]]
        left = min(x["from"] for x in plan["layers"])
        assert left == pytest.approx(0.0, abs=1e-9)  # the map begins at the left end
        length = (CRACK[1][0] - CRACK[0][0]) * MM_PER_PX / factor
        assert ends[1] - ends[0] == pytest.approx(length, abs=2e-4)  # rounded to 1e-4
        assert all(0.0 <= share <= 1.0 for _, share in line["points"])


def test_each_finding_says_what_it_is_without_the_picture(tmp_path: Path) -> None:
    plan = plan_of(filled(tmp_path).photos[0], unit="mm")
    assert plan is not None
    assert [f["title"] for f in plan["findings"]] == [
        "Crack crack-1, layer 0",
        "Crack crack-2, layer 2",
    ]
    assert all(f["text"].startswith("Length ") for f in plan["findings"])
    assert all(f["text"].endswith(" · proposed") for f in plan["findings"])


def test_rubber_that_could_not_be_judged_lies_at_its_place() -> None:
    (entry,) = partly_judged().photos
    plan = plan_of(entry, unit="mm")
    assert plan is not None
    (part,) = plan["unseen"]
    assert part["layer"] == 2
    along = [x for x, _ in part["points"]]
    assert max(along) - min(along) == pytest.approx(120 * MM_PER_PX, abs=2e-4)


def test_a_layer_that_was_not_measured_is_no_bar_of_zero() -> None:
    (entry,) = record().photos
    lost = NotMeasured(reason="The outline of layer 0 is lost.", unit="mm").to_dict()
    bulge = {**entry.measurement["findings"][0], "kind": "bulge", "quantities": {"peak": lost}}
    plain = {**entry.measurement, "view": "profile", "findings": [bulge]}
    plan = plan_of(replace(entry, view="profile", measurement=plain), unit="mm")
    assert plan is not None
    assert plan["findings"][0]["value"] is None


def test_a_layer_that_stands_back_has_a_bar_of_its_recess() -> None:
    (entry,) = record().photos
    depth = Measured(value=0.42, u=0.01, unit="mm").to_dict()
    bulge = {
        **entry.measurement["findings"][0], "kind": "bulge", "quantities": {"recess": depth},
    }  # fmt: skip
    plain = {**entry.measurement, "view": "profile", "findings": [bulge]}
    plan = plan_of(replace(entry, view="profile", measurement=plain), unit="mm")
    assert plan is not None
    (bar,) = plan["findings"]
    assert (bar["value"], bar["half"]) == (-0.42, pytest.approx(0.0196))
    assert bar["label"] == "−0.420"
    assert bar["text"].startswith("Recess 0.420 ± 0.020 mm")


def test_a_refused_photo_has_no_map(tmp_path: Path) -> None:
    entry = filled(tmp_path).photos[0]
    quality = {"usable": False, "checks": []}
    refused = replace(entry, measurement={**entry.measurement, "quality": quality})
    assert plan_of(refused, unit="mm") is None
