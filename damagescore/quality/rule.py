"""At which values a photo is warned about or refused, with the reasons."""

from dataclasses import dataclass

from damagescore.quality.record import Outcome


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """A value up to `warn` passes, up to `refuse` is warned about, above is refused."""

    warn: float
    refuse: float

    def judge(self, value: float) -> Outcome:
        if value <= self.warn:
            return "pass"
        return "warn" if value <= self.refuse else "refuse"

    def widened(self, by: float) -> "Bounds":
        """The same with both values larger."""
        return Bounds(warn=self.warn + by, refuse=self.refuse + by)


@dataclass(frozen=True, slots=True, kw_only=True)
class QualityRule:
    """Bounds of every check. All are common practice, no source, unless named.

    Parameters
    ----------
    finest_width_mm : Bounds
        Width of a black line that keeps half its contrast. Flex cracks open to
        0.1 to 0.4 mm: at 0.15 mm most of their length shows, at 0.25 mm only the
        widest part does.
    finest_width_at_shims_mm : Bounds
        The same read at the borders of the layers. Shims are thin, so the reading
        levels off at about 0.2 mm: a blur that truly is 0.22 mm reads 0.15 mm, one of
        0.32 mm reads 0.19 mm. Sharp photos read 0.02 to 0.05 mm.
    least_px_per_mm_warn, least_px_per_mm_refuse : float
        A crack of 0.15 mm is 2.3 px wide at 15 px/mm and 1.2 px at 8 px/mm, which
        is below the two pixels that sampling needs.
    px_per_limit : float
        Pixels over the smallest limit: 2 is the sampling bound, 3 is practice.
    tilt_deg : Bounds
        The scale corrects a tilt that it knows (its error is in `scale_uncertainty`).
        At 30 deg a crack across the tilt looks 13 % narrower (1 - cos), at 40 deg 23 %,
        and the depth of field runs out. Refused only where the tilt surely is larger,
        warned about where it may be.
    tilt_sure : float
        Standard uncertainties below the tilt that must still lie beyond the bound for a
        refusal: 1.65 is 95 % on one side.
    saturated_rubber_percent, dark_rubber_percent : Bounds
        Share of rubber pixels with no grey level left to judge.
    saturated_photo_percent : Bounds
        Over the whole photo; a bright backdrop may fill half of it, so this alone
        never refuses.
    darkest_level : float
        Grey level that the darkest hundredth of a photo must not pass when so much of
        it is white: marks and rubber that are no longer dark tell of overexposure.
    glare_percent : Bounds
        Share of rubber washed out by a reflection; chalk marks take a few percent.
    disagreement_percent : Bounds
        Between marks after the plane was removed. 1 % is a stand-off of 3 mm at
        300 mm; beyond 3 % no length in the photo can be trusted.
    mark_black_level : Bounds
        Grey level of the black of a printed mark whose white is clipped. Well exposed
        ones read 24 to 51, ones two stops over 140.
    convergence_percent : Bounds
        Change of the stack's height from left to right in the metric frame. Sound
        stacks are even within 1 to 2 %; more shows a mark that is turned against
        the rubber. Widened by what is not known of it.
    convergence_round_percent : Bounds
        The same on a round edge, whose borders bow: seen at a steep tilt sound ones read
        up to 3 % on our own scenes.
    convergence_loose_percent : Bounds
        The same where the scale holds no tilt (two points), so that a plain turn of
        the camera shows as well.
    convergence_sure : float
        Standard uncertainties by which both are widened: borders that were lost, the
        perspective, and where a round edge faces the camera.
    scale_uncertainty_percent : Bounds
        Relative standard uncertainty of a length. It is in every result; beyond 5 %
        it outweighs all else, and a length must lie 8 % off its limit to be decided.
    """

    finest_width_mm: Bounds = Bounds(warn=0.15, refuse=0.25)
    finest_width_at_shims_mm: Bounds = Bounds(warn=0.11, refuse=0.165)
    least_px_per_mm_warn: float = 15.0
    least_px_per_mm_refuse: float = 8.0
    px_per_limit: float = 3.0
    tilt_deg: Bounds = Bounds(warn=30.0, refuse=40.0)
    tilt_sure: float = 1.65
    saturated_rubber_percent: Bounds = Bounds(warn=2.0, refuse=15.0)
    dark_rubber_percent: Bounds = Bounds(warn=20.0, refuse=60.0)
    saturated_photo_percent: Bounds = Bounds(warn=40.0, refuse=100.0)
    darkest_level: float = 90.0
    glare_percent: Bounds = Bounds(warn=5.0, refuse=25.0)
    disagreement_percent: Bounds = Bounds(warn=1.0, refuse=3.0)
    mark_black_level: Bounds = Bounds(warn=90.0, refuse=120.0)
    convergence_percent: Bounds = Bounds(warn=2.5, refuse=8.0)
    convergence_round_percent: Bounds = Bounds(warn=4.0, refuse=12.0)
    convergence_loose_percent: Bounds = Bounds(warn=6.0, refuse=20.0)
    convergence_sure: float = 1.96
    scale_uncertainty_percent: Bounds = Bounds(warn=5.0, refuse=10.0)
