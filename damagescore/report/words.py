"""The words of the report: outcomes, kinds, cautions."""

from collections.abc import Mapping
from datetime import UTC, datetime

OUTCOMES: Mapping[str, tuple[str, str]] = {
    "within": (
        "WITHIN LIMITS",
        (
            "Every assessed criterion is below its removal limit by more than the "
            "measurement uncertainty."
        ),
    ),
    "borderline": (
        "BORDERLINE",
        (
            "At least one value is so near its limit that the measurement uncertainty leaves "
            "it undecided. Measure again, better, or treat as exceeded."
        ),
    ),
    "exceeded": (
        "LIMIT EXCEEDED",
        (
            "At least one value is beyond its removal limit by more than the measurement "
            "uncertainty."
        ),
    ),
    "not_fully_assessed": (
        "NOT FULLY ASSESSED",
        (
            "At least one criterion could not be assessed, so the part is not shown to be "
            "within limits."
        ),
    ),
    "not_measured": ("NOT MEASURED", "There is no value for this criterion."),
}
"""By outcome: what stands in the banner, and what it means."""

NOT_ASSESSED = (
    "NOT ASSESSED",
    "The findings were not compared with any limits.",
)

SCORE_MEANING = (
    "Score: the largest usage of any limit, times 100. 100 is at the removal limit; it is "
    "not an average, and not a probability."
)

KINDS: Mapping[str, str] = {
    "crack": "crack",
    "bond_gap": "bond gap",
    "crumbling": "crumbling",
    "bulge": "bulge",
}

STATES: Mapping[str, str] = {
    "proposed": "proposed",
    "confirmed": "confirmed",
    "rejected": "rejected",
}

DISPOSITIONS: Mapping[str, str] = {
    "continue_in_service": "continue in service",
    "remove": "remove",
    "refer": "refer to engineering",
    "reinspect": "inspect again",
}

QUANTITIES: Mapping[str, str] = {
    "length": "length",
    "width_max": "greatest width",
    "width_mean": "mean width",
    "area": "area",
    "peak": "peak",
    "extent": "extent along the layer",
    "share_of_layer": "share of the layer",
    "crack_length": "crack length, total",
    "bond_gap_length": "bond gap length, total",
    "crumbling_area": "crumbling area, total",
    "bulge_peak": "bulge peak, largest",
    "crack_extent_percent": "crack extent, share of visible layer length",
}

METHODS: Mapping[str, str] = {
    "squares": "printed square marks",
    "card": "printed scale card",
    "rule": "graduated rule",
    "two_dots": "two black discs",
    "two_points": "two points given by hand",
}

CAUTIONS = (
    "The approved maintenance data for the part govern. This record does not replace them.",
    "A photo cannot show the depth of a crack, or a loss of bond hidden behind sound rubber.",
    "A qualified inspector decides and signs. The program never releases a part.",
    "Findings marked as proposed were found by the program and not reviewed by anyone.",
    "The uncertainties cover the sources named; they do not cover damage that is not seen.",
    "The record relates only to the part and the photos named in it.",
)

NONE_FOUND = "looked and found none"

INVENTED = "INVENTED LIMITS: for demonstration only, not for any real part"

NOT_SIGNED = "NOT SIGNED"

EXPANDED = (
    "Values are given as value ± expanded uncertainty, k = 1.96 (95 % for a normal "
    "distribution)."
)


def when(at: str) -> str:
    """Show an ISO 8601 time in UTC; anything else as it is."""
    try:
        moment = datetime.fromisoformat(at)
    except ValueError:
        return at
    if moment.tzinfo is None:
        return at
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"


def words_of(name: str, table: Mapping[str, str]) -> str:
    """Words for a name; an unknown name is shown with its underscores opened."""
    return table.get(name, name.replace("_", " "))
