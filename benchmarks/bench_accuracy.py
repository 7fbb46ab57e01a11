"""Accuracy on photos with exact truth: `python -m benchmarks.bench_accuracy FOLDER`.

Without a folder the checking set of the scene generator is rendered into a
temporary folder; its colours, finishes, lights and distances were held out from
development. Prints one line a photo, then the table of the README.
"""

import argparse
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from tqdm import tqdm

from benchmarks.truth import Case, cases_in, score_cracks, score_crumbling
from damagescore.damage import trace_crack
from damagescore.damage.bulge import bulge_profile
from damagescore.errors import DamageScoreError
from damagescore.measure import Measurement, measure_photo
from damagescore.photo import read_photo
from damagescore.photo.record import Photo
from damagescore.quantity import Measured
from damagescore.scenes.__main__ import main as make_scenes


@dataclass(slots=True)
class Tally:
    """Figures gathered over all photos."""

    photos: int = 0
    good_refused: int = 0
    bad_passed: int = 0
    bad: int = 0
    layers_right: int = 0
    layers_asked: int = 0
    found_mm: float = 0.0
    present_mm: float = 0.0
    false_cracks: int = 0
    false_areas: int = 0
    face_photos: int = 0
    values: dict[str, list[float]] = field(default_factory=dict)
    inside: dict[str, list[bool]] = field(default_factory=dict)

    def add(self, name: str, value: float, *, inside: bool | None = None) -> None:
        self.values.setdefault(name, []).append(value)
        if inside is not None:
            self.inside.setdefault(name, []).append(inside)


def judge(case: Case, tally: Tally) -> str:
    """Measure one photo, add its figures, and return a line to print."""
    photo = read_photo(case.path)
    measurement = measure_photo(photo, case.options())
    tally.photos += 1
    reasons = [c.name for c in measurement.quality.checks if c.outcome != "pass"]
    name = f"{case.path.stem:24s}"
    if not case.good:
        tally.bad += 1
        tally.bad_passed += not reasons
        return f"{name} bad photo: {'caught by ' + ', '.join(reasons) if reasons else 'PASSED'}"
    if not measurement.quality.usable:
        tally.good_refused += 1
        return f"{name} REFUSED by {', '.join(reasons)}"
    _judge_scale(case, measurement, tally)
    judged = _judge_profile if case.truth["view"] == "profile" else _judge_face
    return f"{name} {judged(case, photo, measurement, tally)} {' '.join(reasons)}"


def _judge_scale(case: Case, measurement: Measurement, tally: Tally) -> None:
    scale = measurement.scale
    assert scale is not None
    homography = np.array(case.truth["homography_image_to_plane_mm"])
    true = _local_scale(homography, scale.centre_px)
    error = scale.mm_per_px / true - 1
    if case.truth.get("radius_mm") and case.truth["view"] == "face":
        return  # the plane's map does not hold off the facing line of a cylinder
    tally.add("scale", abs(error), inside=abs(error) <= 1.96 * scale.u_relative)


def _local_scale(homography: np.ndarray, at: tuple[float, float]) -> float:
    x, y = at
    around = (
        np.array([[x + 1, y, 1], [x - 1, y, 1], [x, y + 1, 1], [x, y - 1, 1]]) @ homography.T
    )
    mm = around[:, :2] / around[:, 2:]
    jacobian = np.column_stack([mm[0] - mm[1], mm[2] - mm[3]]) / 2
    return float(np.sqrt(abs(np.linalg.det(jacobian))))


def _judge_face(case: Case, photo: Photo, measurement: Measurement, tally: Tally) -> str:
    tally.face_photos += 1
    layers = _judge_layers(case, measurement, tally)
    cracks = score_cracks(case, measurement)
    tally.found_mm += cracks.found_mm
    tally.present_mm += cracks.present_mm
    tally.false_cracks += cracks.false_findings
    for error, inside in zip(cracks.relative_errors, cracks.inside_95, strict=True):
        tally.add("automatic length", abs(error), inside=inside)
    _judge_traces(case, photo, measurement, tally)
    area = score_crumbling(case, measurement)
    tally.false_areas += area.false_findings
    if area.true_mm2 > 0:
        error = area.measured_mm2 / area.true_mm2 - 1
        tally.add("crumbling area", abs(error), inside=area.inside_95)
        tally.add("crumbling overlap", area.overlap)
    return (
        f"{layers} cracks {cracks.found_mm:.0f}/{cracks.present_mm:.0f} mm, "
        f"false {cracks.false_findings}, errors "
        f"[{' '.join(f'{100 * e:+.1f}' for e in cracks.relative_errors)}] % "
        f"crumbling {area.measured_mm2:.1f}/{area.true_mm2:.1f} mm², "
        f"overlap {area.overlap:.2f}, false {area.false_findings}"
    )


def _judge_layers(case: Case, measurement: Measurement, tally: Tally) -> str:
    assert measurement.edge is not None
    true = [x for x in case.truth["layers"] if x.get("in_image", True)]
    tally.layers_asked += 1
    tally.layers_right += len(true) == len(measurement.edge.layers)
    return f"layers {len(measurement.edge.layers)}/{len(true)}"


def _judge_traces(case: Case, photo: Photo, measurement: Measurement, tally: Tally) -> None:
    """Trace every true line between two clicks on its ends, as an inspector would."""
    assert measurement.scale is not None
    for crack in case.cracks:
        for line_px, line_mm in zip(crack["polylines_px"], crack["polylines_mm"], strict=True):
            true = float(np.sum(np.hypot(*np.diff(np.array(line_mm), axis=0).T)))
            ends = np.array([line_px[0], line_px[-1]], dtype=np.float64)
            if true < 2.0 or not _inside(ends, photo):
                continue
            try:
                traced = trace_crack(photo, ends, measurement.scale, edge=measurement.edge)
            except DamageScoreError:
                tally.add("traced refused", 1.0)
                continue
            length = traced.quantities["length"]
            error = length.value - true
            tally.add("traced length", abs(error) / true, inside=abs(error) <= 1.96 * length.u)


def _inside(points: np.ndarray, photo: Photo) -> bool:
    return bool(
        np.all(points >= 0) and np.all(points <= np.array([photo.width - 1, photo.height - 1]))
    )


def _judge_profile(case: Case, photo: Photo, measurement: Measurement, tally: Tally) -> str:
    assert measurement.edge is not None
    assert measurement.scale is not None
    _judge_layers(case, measurement, tally)
    profile = bulge_profile(photo, measurement.edge, measurement.scale)
    peaks = {x.layer: x.peak for x in profile.layers}
    lines = []
    for true in case.truth["bulges"]:
        mine = peaks.get(true["layer"])
        if not isinstance(mine, Measured):
            tally.add("profile layers not found", 1.0)
            continue
        error = mine.value - true["peak_mm"]
        tally.add("bulge peak mm", abs(error), inside=abs(error) <= 1.96 * mine.u)
        lines.append(f"{error:+.3f}")
    found = {f.layer for f in measurement.findings}
    asked = {b["layer"] for b in case.truth["bulges"] if b["is_bulge"]}
    return f"bulges found {sorted(found)} of {sorted(asked)}, peak errors mm {' '.join(lines)}"


def report(tally: Tally) -> str:
    """The table of figures."""
    rows = [
        ("photos", f"{tally.photos}"),
        ("good photos refused", f"{tally.good_refused} of {tally.photos - tally.bad}"),
        ("bad photos neither warned nor refused", f"{tally.bad_passed} of {tally.bad}"),
        ("layer count right", f"{tally.layers_right} of {tally.layers_asked}"),
        ("crack recall by length", _percent(tally.found_mm, tally.present_mm)),
        ("false cracks a face photo", _ratio(tally.false_cracks, tally.face_photos)),
        ("false crumbled areas a face photo", _ratio(tally.false_areas, tally.face_photos)),
    ]
    rows += [(name, _spread(name, v)) for name, v in tally.values.items()]
    rows += [(f"inside the 95 % interval, {n}", _percent(sum(v), len(v)) + f" of {len(v)}")
             for n, v in tally.inside.items()]  # fmt: skip
    return "\n".join(
        f"| {name} | {value} |" for name, value in [("figure", "value"), ("---", "---"), *rows]
    )


def _percent(part: float, whole: float) -> str:
    return f"{100 * part / whole:.1f} %" if whole else "none present"


def _ratio(part: float, whole: float) -> str:
    return f"{part / whole:.2f}" if whole else "no photo"


def _spread(name: str, values: list[float]) -> str:
    if name.endswith(("not found", "refused")):
        return f"{len(values)}"
    middle, high = np.median(values), np.percentile(values, 90)
    if name in ("bulge peak mm", "crumbling overlap"):
        return f"median {middle:.3f}, p90 {high:.3f} (n = {len(values)})"
    return f"median {100 * middle:.2f} %, p90 {100 * high:.2f} % (n = {len(values)})"


def main() -> int:
    """Render or read the scenes, judge each, print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path)
    parser.add_argument("--count", type=int, default=30)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = given.folder
        if folder is None:
            folder = Path(made)
            make_scenes(["checking", "--out", made, "--count", str(given.count)])
        tally = Tally()
        for case in tqdm(list(cases_in(folder)), unit="photo", file=sys.stderr, disable=None):
            tqdm.write(judge(case, tally), file=sys.stdout)
    print("\n" + report(tally))
    return 0


if __name__ == "__main__":
    sys.exit(main())
