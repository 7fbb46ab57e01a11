"""Accuracy on photos with exact truth: `python -m benchmarks.bench_accuracy FOLDER`.

Without a folder the checking set of the scene generator is rendered into a
temporary folder; its colours, finishes, lights and distances were held out from
development. Prints one line a photo, then the table of the README.
"""

import argparse
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.spatial import cKDTree
from tqdm import tqdm

from benchmarks.tally import Tally, report
from benchmarks.truth import reach_of, score_cracks, score_crumbling
from damagescore.damage import trace_crack
from damagescore.damage.bulge import bulge_profile
from damagescore.damage.record import Finding
from damagescore.errors import DamageScoreError
from damagescore.measure import Measurement, measure_photo
from damagescore.photo import read_photo
from damagescore.photo.along import places_along
from damagescore.photo.record import Photo
from damagescore.quantity import Measured
from damagescore.scenes.__main__ import main as make_scenes
from damagescore.scenes.reading import Case, cases_in

MOST_MORE = 2
"""Clicks between its ends that an inspector takes the trouble to make."""


def judge(case: Case, tally: Tally, *, told: bool = False) -> str:
    """Measure one photo, add its figures, and return a line to print.

    A good photo that asks for its number of layers gets it where `told` says so.
    """
    photo = read_photo(case.path)
    measurement = measure_photo(photo, case.options())
    if told and case.good and measurement.edge is not None and measurement.edge.doubt:
        number = sum(x["kind"] == "rubber" for x in case.seen_layers)
        measurement = measure_photo(photo, replace(case.options(), n_layers=number))
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
    tally.warn(reasons)
    _judge_scale(case, measurement, tally)
    judged = _judge_profile if case.truth["view"] == "profile" else _judge_face
    return f"{name} {judged(case, photo, measurement, tally)} {' '.join(reasons)}"


def _judge_scale(case: Case, measurement: Measurement, tally: Tally) -> None:
    scale = measurement.scale
    assert scale is not None
    homography = np.array(case.truth["homography_image_to_plane_mm"])
    true = _local_scale(homography, scale.centre_px)
    if case.truth.get("radius_mm") and case.truth["view"] == "face":
        return  # the plane's map does not hold off the facing line of a cylinder
    measured = Measured(value=scale.mm_per_px, u=scale.mm_per_px * scale.u_relative, unit="mm")
    tally.add("scale", measured, true, px_per_mm=1 / true)


def _local_scale(homography: np.ndarray, at: tuple[float, float]) -> float:
    x, y = at
    around = (
        np.array([[x + 1, y, 1], [x - 1, y, 1], [x, y + 1, 1], [x, y - 1, 1]]) @ homography.T
    )
    mm = around[:, :2] / around[:, 2:]
    jacobian = np.column_stack([mm[0] - mm[1], mm[2] - mm[3]]) / 2
    return float(np.sqrt(abs(np.linalg.det(jacobian))))


def _judge_face(case: Case, photo: Photo, measurement: Measurement, tally: Tally) -> str:
    assert measurement.scale is not None
    density = 1 / measurement.scale.mm_per_px
    tally.face_photos += 1
    layers = _judge_layers(case, measurement, tally)
    cracks, area = score_cracks(case, measurement), score_crumbling(case, measurement)
    tally.found_mm += cracks.found_mm
    tally.present_mm += cracks.present_mm
    tally.wide_found_mm += cracks.wide_found_mm
    tally.wide_present_mm += cracks.wide_present_mm
    tally.false_cracks += cracks.false_findings
    tally.kinds_right += cracks.kinds_right
    tally.kinds_asked += cracks.kinds_asked
    tally.false_areas += area.false_findings
    if not case.cracks and area.true_mm2 == 0:
        tally.sound_photos += 1
        tally.false_on_sound += cracks.false_findings + area.false_findings
    for measured, true in cracks.lengths:
        tally.add("automatic length", measured, true, px_per_mm=density)
    _judge_totals(case, measurement, tally)
    _judge_traces(case, photo, measurement, tally)
    if area.true_mm2 > 0:
        tally.overlaps.append(area.overlap)
        if isinstance(area.total, Measured):
            tally.add("crumbling area", area.total, area.true_mm2, px_per_mm=density)
    return (
        f"{layers} cracks {cracks.found_mm:.0f}/{cracks.present_mm:.0f} mm, "
        f"false {cracks.false_findings}, errors "
        f"[{' '.join(f'{100 * e:+.1f}' for e in cracks.relative_errors)}] % "
        f"crumbling {area.measured_mm2:.1f}/{area.true_mm2:.1f} mm², "
        f"overlap {area.overlap:.2f}, false {area.false_findings}"
    )


def _judge_totals(case: Case, measurement: Measurement, tally: Tally) -> None:
    """The photo's totals, what was not found and what is none included."""
    assert measurement.scale is not None
    for name, kind in (("crack_length", "crack"), ("bond_gap_length", "bond gap")):
        mine = [c for c in case.cracks if (c["kind"] == "bond_line") == (kind == "bond gap")]
        true = sum(c["length_mm"] for c in mine)
        total = measurement.totals[name]
        if true > 0 and isinstance(total, Measured):
            density = 1 / measurement.scale.mm_per_px
            tally.add(f"{kind} length, total", total, true, px_per_mm=density)


def _judge_layers(case: Case, measurement: Measurement, tally: Tally) -> str:
    assert measurement.edge is not None
    true = len(case.seen_layers)
    tally.layers_asked += 1
    tally.layers_right += true == len(measurement.edge.layers)
    return f"layers {len(measurement.edge.layers)}/{true}"


def _judge_traces(case: Case, photo: Photo, measurement: Measurement, tally: Tally) -> None:
    """Trace every true line as an inspector would."""
    assert measurement.scale is not None
    density = 1 / measurement.scale.mm_per_px
    for crack in case.cracks:
        for line_px, line_mm in zip(crack["polylines_px"], crack["polylines_mm"], strict=True):
            true = float(np.sum(np.hypot(*np.diff(np.array(line_mm), axis=0).T)))
            line = np.array(line_px, dtype=np.float64)
            if true < 2.0 or not _inside(line[[0, -1]], photo):
                continue
            try:
                traced, more = traced_by_eye(photo, line, measurement)
            except DamageScoreError:
                tally.traces_refused += 1
                continue
            length = traced.quantities["length"]
            assert isinstance(length, Measured)
            tally.traces_helped += more > 0
            tally.add("traced length", length, true, px_per_mm=density)


def traced_by_eye(
    photo: Photo, line_px: np.ndarray, measurement: Measurement
) -> tuple[Finding, int]:
    """Trace a true line between clicks on its ends, and how many clicks more it took.

    The path is drawn while the pointer moves: a person sees where it leaves the crack, into
    a darker one beside it or along the other side of an eye, and clicks there.
    """
    assert measurement.scale is not None
    places, clicks = places_along([line_px]), {0, -1}
    reach_px = reach_of(measurement.scale)
    for more in range(MOST_MORE + 1):  # noqa: B007
        points = np.vstack([line_px[:1], places[sorted(clicks - {0, -1})], line_px[-1:]])
        traced = trace_crack(photo, points, measurement.scale, edge=measurement.edge)
        away = cKDTree(places_along(traced.lines_px)).query(places)[0]
        if away.max() <= reach_px:
            break
        clicks.add(int(np.argmax(away)))
    return traced, more


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
            tally.profile_layers_missed += 1
            continue
        density = 1 / measurement.scale.mm_per_px
        trial = tally.add("bulge peak", mine, true["peak_mm"], px_per_mm=density)
        if true["is_bulge"]:
            tally.add("bulge peak, bulging layers", mine, true["peak_mm"], px_per_mm=density)
        lines.append(f"{trial.error:+.3f}")
    found = {f.layer for f in measurement.findings if f.layer is not None}
    asked = {b["layer"] for b in case.truth["bulges"] if b["is_bulge"]}
    return f"bulges found {sorted(found)} of {sorted(asked)}, peak errors mm {' '.join(lines)}"


def main() -> int:
    """Render or read the scenes, judge each, print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path)
    parser.add_argument("--first", type=int, default=0, help="number of the first photo")
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument(
        "--told", action="store_true", help="tell a photo in doubt its number of layers"
    )
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = given.folder
        if folder is None:
            folder = Path(made)
            which = ["--first", str(given.first), "--count", str(given.count)]
            make_scenes(["checking", "--out", made, *which])
        tally = Tally()
        for case in tqdm(list(cases_in(folder)), unit="photo", file=sys.stderr, disable=None):
            tqdm.write(judge(case, tally, told=given.told), file=sys.stdout)
    print("\n" + report(tally))
    return 0


if __name__ == "__main__":
    sys.exit(main())
