"""Is the scale fit for the rubber: resolution, tilt, agreement and common plane."""

import math

import numpy as np
from numpy.typing import NDArray

from damagescore.quality.record import Amount, Check, Outcome
from damagescore.quality.rule import QualityRule
from damagescore.scale.record import Scale

Points = NDArray[np.float64]


def resolution_check(
    scale: Scale, *, smallest_limit_mm: float | None, rule: QualityRule
) -> Check:
    """Judge pixels per mm, and pixels over the smallest limit where one is given."""
    px_per_mm = round(1.0 / scale.mm_per_px, 6)  # a bound met exactly is met
    outcome: Outcome = "pass"
    message = "The photo has {density}"
    amounts = {"density": Amount(value=px_per_mm, unit="px/mm", form=".1f")}
    if px_per_mm < rule.least_px_per_mm_warn:
        outcome = "refuse" if px_per_mm < rule.least_px_per_mm_refuse else "warn"
        message += "; {wanted} are wanted: go nearer"
        amounts["wanted"] = Amount(value=rule.least_px_per_mm_warn, unit="px/mm", form=".0f")
    elif smallest_limit_mm is not None and smallest_limit_mm * px_per_mm < rule.px_per_limit:
        outcome = "warn"
        message += (
            f", which is {smallest_limit_mm * px_per_mm:.1f} px over the smallest limit of "
            f"{{limit}} ({rule.px_per_limit:.0f} are wanted): go nearer"
        )
        amounts["limit"] = Amount(value=smallest_limit_mm, unit="mm", form="g")
    return Check(
        name="resolution", outcome=outcome, value=px_per_mm, unit="px/mm",
        message=message + ".", amounts=amounts,
    )  # fmt: skip


def tilt_check(scale: Scale, *, rule: QualityRule) -> Check:
    """Judge the angle between the view and the surface's normal."""
    tilt = scale.tilt_deg
    if tilt is None:
        message = (
            "The scale cannot tell the tilt of the view: hold the camera square to the edge "
            "or use a square mark."
        )
        return Check(name="tilt", outcome="warn", value=None, unit="deg", message=message)
    reach = rule.tilt_sure * (scale.u_tilt_deg or 0.0)
    outcome = _tilt_outcome(tilt, reach, rule)
    message = f"The view is tilted by {tilt:.0f} degrees to the mark's plane"
    if reach >= 1:
        message += f" (give or take {reach:.0f})"
    if outcome != "pass":
        message += f"; up to {rule.tilt_deg.warn:.0f} are wanted: hold the camera square"
    return Check(name="tilt", outcome=outcome, value=tilt, unit="deg", message=message + ".")


def _tilt_outcome(tilt_deg: float, reach_deg: float, rule: QualityRule) -> Outcome:
    """Refused where all of the tilt's range is too large, passed where none of it is."""
    if tilt_deg - reach_deg > rule.tilt_deg.refuse:
        return "refuse"
    wide = tilt_deg > rule.tilt_deg.warn or tilt_deg + reach_deg > rule.tilt_deg.refuse
    return "warn" if wide else "pass"


def marks_check(scale: Scale, *, rule: QualityRule) -> Check | None:
    """Judge how far the marks disagree; None with a single mark."""
    if scale.disagreement is None:
        return None
    percent = 100 * scale.disagreement
    outcome = rule.disagreement_percent.judge(percent)
    message = f"The scale marks disagree by {percent:.1f} %"
    if outcome != "pass":
        message += ": lay them in the plane of the rubber, flat and not bent"
    return Check(name="marks", outcome=outcome, value=percent, unit="%", message=message + ".")


def lens_check(scale: Scale) -> Check | None:
    """Say whether the lens profile that was asked for fits the photo; None without one."""
    use = scale.lens
    if use is None:
        return None
    name = use.name or "without a name"
    outcome: Outcome = "warn" if use.note else "pass"
    if not use.used:
        message = f"The lens profile {name} was not used: {use.note}. Choose the right one"
    elif use.note:
        message = f"The lens profile {name} was used, but {use.note}: check that it is right"
    else:
        message = f"The lens profile {name} ({use.camera}) was used"
    return Check(name="lens", outcome=outcome, value=None, unit="", message=message + ".")


def uncertainty_check(scale: Scale, *, rule: QualityRule) -> Check:
    """Judge the relative standard uncertainty of the scale.

    What the turn of a round edge adds is in each finding, by its own turn.
    """
    percent = 100 * scale.u_relative_across
    outcome = rule.scale_uncertainty_percent.judge(percent)
    message = f"The scale is known to {percent:.1f} % (standard uncertainty)"
    if outcome != "pass":
        message += ": use a larger mark, nearer to the rubber and in its plane"
    return Check(
        name="scale_uncertainty",
        outcome=outcome,
        value=percent,
        unit="%",
        message=message + ".",
    )


def planes_check(scale: Scale, polygons_px: list[Points], *, rule: QualityRule) -> Check | None:
    """Judge whether the mark lies in the rubber's plane.

    In the plane of the mark a sound stack is as high on the left as on the right.
    A mark that is turned against the rubber makes the layers converge. A mark that
    only stands off, parallel to the rubber, is not seen by this. None where fewer
    than two layers share enough length.
    """
    change = convergence(scale, polygons_px)
    if change is None:
        return None
    percent = 100 * abs(change)
    known_plane = scale.tilt_deg is not None
    loose = not known_plane or scale.surface.radius_mm is not None
    bounds = rule.convergence_loose_percent if loose else rule.convergence_percent
    bounds = bounds.widened(196 * _u_convergence(scale, polygons_px))
    outcome = bounds.judge(percent)
    message = f"The layers converge by {percent:.1f} % from side to side"
    if outcome != "pass" and not known_plane:
        message += ": hold the camera square to the rubber"
    elif outcome != "pass":
        message += ": the scale mark is not in the plane of the rubber, lay it flat on it"
    return Check(name="planes", outcome=outcome, value=percent, unit="%", message=message + ".")


def _u_convergence(scale: Scale, polygons_px: list[Points]) -> float:
    """Standard uncertainty of the convergence from the perspective that the scale assumes.

    Marks with a known outline tell how much they are foreshortened; how much nearer one
    side of the photo is then hangs on the focal length. The graduations of a rule show
    the vanishing line itself.
    """
    if scale.u_log_focal is None or scale.method == "rule":
        return 0.0
    points = np.vstack(polygons_px)
    ends = points[[int(np.argmin(points[:, 0])), int(np.argmax(points[:, 0]))]]
    left, right = (scale.surface.mm_per_px_at(p) for p in ends)
    return scale.u_log_focal * abs(math.log(left / right))


def convergence(scale: Scale, polygons_px: list[Points]) -> float | None:
    """Change of the stack's height from left to right over its mean height.

    Known limit: a stack that really is wedge-shaped reads the same.
    """
    outlines = [scale.surface.to_mm(p) for p in polygons_px]
    if len(outlines) < 2:
        return None
    turn = _direction(outlines)
    turned = [outline @ turn for outline in outlines]
    start = max(float(t[:, 0].min()) for t in turned)
    end = min(float(t[:, 0].max()) for t in turned)
    length = end - start
    if length <= 0:
        return None
    s = np.linspace(start + 0.04 * length, end - 0.04 * length, 41)
    spans = np.array([_span(t, s) for t in turned])
    height = spans[:, 1].max(axis=0) - spans[:, 0].min(axis=0)
    known = np.isfinite(height)
    if known.sum() < 20 or length < 0.5 * float(np.median(height[known])):
        return None
    slope = _median_slope(s[known], height[known])
    return slope * length / float(np.median(height[known]))


def _direction(outlines: list[Points]) -> Points:
    """Rotation whose first column runs along the layers, shape (2, 2)."""
    total = sum((np.cov((o - o.mean(axis=0)).T) for o in outlines), start=np.zeros((2, 2)))
    along = np.linalg.eigh(total)[1][:, -1]
    return np.array([[along[0], -along[1]], [along[1], along[0]]])


def _span(outline: Points, s: Points) -> Points:
    """Lowest and highest level of a closed outline at each s, shape (2, K)."""
    first, second = outline, np.roll(outline, -1, axis=0)
    low, high = np.full(len(s), np.inf), np.full(len(s), -np.inf)
    for p, q in zip(first, second, strict=True):
        crossed = (s >= min(p[0], q[0])) & (s < max(p[0], q[0]))
        if crossed.any():
            v = p[1] + (s[crossed] - p[0]) / (q[0] - p[0]) * (q[1] - p[1])
            low[crossed] = np.minimum(low[crossed], v)
            high[crossed] = np.maximum(high[crossed], v)
    return np.where(np.isfinite(low), np.array([low, high]), np.nan)


def _median_slope(x: Points, y: Points) -> float:
    """Theil-Sen slope: the median over all pairs."""
    i, j = np.triu_indices(len(x), k=1)
    return float(np.median((y[j] - y[i]) / (x[j] - x[i])))
