"""Is the scale fit for the rubber: resolution, tilt, lens and agreement."""

from damagescore.quality.record import Amount, Check, Outcome
from damagescore.quality.rule import QualityRule
from damagescore.scale.record import Scale


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
    message = f"The view is tilted by {tilt:.0f}° to the mark's plane"
    if reach >= 1:
        message += f" (give or take {reach:.0f}°)"
    if outcome != "pass":
        message += f"; up to {rule.tilt_deg.warn:.0f}° is wanted: hold the camera square"
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
