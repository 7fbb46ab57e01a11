"""A comparison told in sentences, the same in the app and the report."""

from damagescore.endurance.compare import GroupRatio, PairRatio
from damagescore.endurance.life import NoRatio
from damagescore.endurance.record import Lifetime

NO_DIFFERENCE = "no difference shown"


def life_words(life: Lifetime) -> str:
    """When a criterion was reached, as far as the inspections tell."""
    if life.high is None and life.low == 0:
        return "nothing is known of it"
    if life.high is None:
        return f"not reached by {life.low:.0f} h"
    if life.exact:
        return f"reached at {life.low:.0f} h"
    return f"reached between {life.low:.0f} h and {life.high:.0f} h"


def pair_words(pair: PairRatio) -> str:
    """What two single parts show; nothing is said of other parts."""
    low, high = f"{pair.low:.2g}", "any number" if pair.high is None else f"{pair.high:.2g}"
    names = f"{pair.second} against {pair.first}"
    closing = "This is said of these two parts only: one part a side tells nothing of others."
    if pair.low == 0 and pair.high is None:
        return f"{names}: {NO_DIFFERENCE}, as neither bounds the other. {closing}"
    between = (
        f"between {low} and {high} times" if pair.high is not None else f"at least {low} times"
    )
    if not pair.difference_shown:
        return f"{names}: {NO_DIFFERENCE}; it lasted {between} as long. {closing}"
    return f"{names}: it lasted {between} as long. {closing}"


def group_words(group: GroupRatio) -> str:
    """What two groups show."""
    names = f"{group.second} against {group.first}"
    ratio = group.ratio
    if isinstance(ratio, NoRatio):
        return f"{names}: {NO_DIFFERENCE}. {ratio.reason}"
    said = (
        f"ratio of lives {ratio.value:.3g}, 95 % interval {ratio.low:.3g} to {ratio.high:.3g} "
        f"(Weibull lives of one shape, {ratio.shape:.2g})"
    )
    doubt = ""
    if ratio.shapes_differ:
        doubt = (
            " The spread of lives differs between them, so that one ratio does not tell all."
        )
    if not ratio.difference_shown:
        return f"{names}: {NO_DIFFERENCE}; {said}.{doubt}"
    longer = "longer" if ratio.value > 1 else "shorter"
    return f"{names}: {longer} life is shown; {said}.{doubt}"
