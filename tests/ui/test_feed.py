"""What the workspace says of a photo where something could not be measured or judged."""

from dataclasses import replace
from typing import Any

from damagescore.inspection import Inspection
from damagescore.quantity import Measured, NotMeasured
from damagescore.ui.workspace.feed import feed_of
from tests.ui.filled import partly_judged, record


def _feed(inspection: Inspection, **changed: Any) -> dict[str, Any]:
    (entry,) = inspection.photos
    entry = replace(entry, measurement={**entry.measurement, **changed})
    return feed_of(inspection, entry, unit="mm", locked=False)


def test_a_value_that_was_not_measured_comes_with_its_reason_and_no_number() -> None:
    lost = NotMeasured(reason="The outline of layer 0 is lost.", unit="mm").to_dict()
    findings = record().photos[0].measurement["findings"]
    bulge = {**findings[0], "kind": "bulge", "quantities": {"peak": lost, "recess": lost}}
    feed = _feed(record(), findings=[bulge])
    (told,) = (feed["parts"][name] for name in feed["findings"])
    assert told["main"] == "not measured"
    assert told["why"] == "The outline of layer 0 is lost."
    assert told["rows"] == []


def test_a_value_that_was_measured_needs_no_reason() -> None:
    feed = _feed(record())
    assert {feed["parts"][name]["why"] for name in feed["findings"]} == {""}
    assert feed["unseen"] == []


def test_none_found_holds_only_where_the_rubber_could_be_judged() -> None:
    searched = _feed(partly_judged(lines=()), unjudged=[])
    assert searched["nothing"].startswith("Looked and found none. ")
    partly = _feed(partly_judged(lines=()))
    assert partly["nothing"].startswith(
        "Looked and found none where the rubber could be judged"
    )


def test_where_nothing_could_be_judged_none_found_is_not_said() -> None:
    inspection = partly_judged(lines=())
    missing = NotMeasured(reason="100 % of the rubber could not be judged.", unit="mm")
    totals = {**inspection.photos[0].measurement["totals"], "crack_length": missing.to_dict()}
    said = _feed(inspection, totals=totals)["nothing"]
    assert said == "Nothing can be said of the rubber. 100 % of the rubber could not be judged."


def test_a_refused_photo_was_not_searched() -> None:
    assert _feed(record(lines=()))["nothing"] == "Not searched: the photo was refused."


def test_a_layer_that_stands_back_is_known_by_its_recess() -> None:
    depth = Measured(value=0.42, u=0.01, unit="mm").to_dict()
    findings = record().photos[0].measurement["findings"]
    bulge = {**findings[0], "kind": "bulge", "quantities": {"recess": depth}}
    feed = _feed(record(), findings=[bulge])
    (told,) = (feed["parts"][name] for name in feed["findings"])
    assert told["main"] == "recess 0.420 ± 0.020 mm"
    assert told["rows"][0] == ["Recess", "0.420 ± 0.020 mm"]
