"""Set the strength of proposals beside the share of them that is real.

`python -m benchmarks.bench_reliability FOLDER:FROM:TO...` weighs every candidate line of
good face photos and sets the chance it was given beside the share that is real, bin by
bin, with the 95 % interval of that share. Give photos that the chance was not fitted on
(`damagescore/damage/confidence.toml` names those that it was).
"""

import argparse
import math
import sys
from collections.abc import Sequence

import numpy as np
from tqdm import tqdm

from benchmarks.candidates import Weighed, chosen, weighed_in

BINS = (0.0, 0.05, 0.2, 0.5, 0.8, 0.95, 1.0)

Z_95 = 1.959964
"""Two-sided 95 % point of the normal distribution."""


def wilson(hits: int, count: int) -> tuple[float, float]:
    """95 % interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22, 209-212)."""
    if count == 0:
        return 0.0, 1.0
    share, z2 = hits / count, Z_95**2
    middle = share + z2 / (2 * count)
    half = Z_95 * math.sqrt(share * (1 - share) / count + z2 / (4 * count**2))
    low, high = ((middle + s * half) / (1 + z2 / count) for s in (-1, 1))
    return max(0.0, low), min(1.0, high)


def calibration_error(seen: Sequence[Weighed]) -> float:
    """Mean distance of chance and real share over the bins, weighted by their counts."""
    total = 0.0
    for group in in_bins(seen):
        if group:
            mean = np.mean([w.chance for w in group])
            total += len(group) * abs(mean - np.mean([w.real for w in group]))
    return float(total / len(seen)) if seen else math.nan


def in_bins(seen: Sequence[Weighed]) -> list[list[Weighed]]:
    """The candidates of every bin; the last one holds a chance of 1 too."""
    upper = (*BINS[1:-1], math.inf)
    return [
        [w for w in seen if low <= w.chance < high]
        for low, high in zip(BINS, upper, strict=False)
    ]


def table(seen: Sequence[Weighed]) -> str:
    """The bins as a table, and the figures over all."""
    lines = [
        "| chance given | candidates | mean chance | real | real share | 95 % interval |",
        "|---|---|---|---|---|---|",
    ]
    for low, high, group in zip(BINS, BINS[1:], in_bins(seen), strict=False):
        real = sum(w.real for w in group)
        start, end = wilson(real, len(group))
        mean = f"{np.mean([w.chance for w in group]):.3f}" if group else "-"
        share = f"{real / len(group):.3f}" if group else "-"
        lines.append(
            f"| {low:.2f} to {high:.2f} | {len(group)} | {mean} | {real} | {share} | "
            f"{start:.2f} to {end:.2f} |"
        )
    brier = np.mean([(w.chance - w.real) ** 2 for w in seen]) if seen else math.nan
    real = sum(w.real for w in seen)
    error = calibration_error(seen)
    lines.append(
        f"\n{len(seen)} candidates, {real} real; calibration error {error:.3f}, "
        f"Brier score {brier:.3f}"
    )
    return "\n".join(lines)


def main() -> int:
    """Weigh the candidates of the chosen photos and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", nargs="+", help="FOLDER:FROM:TO")
    seen: list[Weighed] = []
    for text in parser.parse_args().sets:
        photos = tqdm(weighed_in(*chosen(text)), unit="photo", file=sys.stderr, disable=None)
        seen += [w for found in photos for w in found]
    print(table(seen))
    return 0


if __name__ == "__main__":
    sys.exit(main())
