"""Set the strength of proposals beside the share of them that is real.

`python -m benchmarks.bench_reliability FOLDER:FROM:TO...` weighs every candidate line of
good face photos and sets the chance it was given beside the share that is real, bin by
bin, with the 95 % interval of that share. Give photos that the chance was not fitted on
(`damagescore/damage/confidence.toml` names those that it was). `--diagram FILE.svg` draws it.
"""

import argparse
import math
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from tqdm import tqdm

from benchmarks.candidates import Weighed, chosen, weighed_in
from damagescore.chart import Chart, Line, Plot, to_svg
from damagescore.chart.record import Style

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
            share = np.mean([w.real for w in group])
            total += len(group) * float(abs(mean - share))
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


def diagram(seen: Sequence[Weighed]) -> Chart:
    """Real share against the chance given: a dot a bin with its 95 % interval."""
    plot = Plot(
        x=(-0.03, 1.03), y=(-0.03, 1.03), x_label="Chance given", y_label="Share that is real"
    )
    plot.axes()
    plot.line((0.0, 1.0), (0.0, 1.0), Style(dash=(6, 4), opacity=0.6))
    counts = []
    for group in in_bins(seen):
        if not group:
            continue
        real = sum(w.real for w in group)
        at = float(np.mean([w.chance for w in group]))
        ends = [(plot.across.at(at), plot.up.at(share)) for share in wilson(real, len(group))]
        plot.marks.append(Line(points=tuple(ends), style=Style(colour="blue", width=1.5)))
        plot.dot(at, real / len(group), style=Style(colour="blue"))
        counts.append(f"{real} of {len(group)} at {at:.2f}")
    told = f"Real: {', '.join(counts)}."
    return plot.chart(title="Share of proposals that is real against their chance", told=told)


def main() -> int:
    """Weigh the candidates of the chosen photos, print the table and draw the diagram."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", nargs="+", help="FOLDER:FROM:TO")
    parser.add_argument("--diagram", type=Path, metavar="FILE.svg")
    given = parser.parse_args()
    seen: list[Weighed] = []
    for text in given.sets:
        photos = tqdm(weighed_in(*chosen(text)), unit="photo", file=sys.stderr, disable=None)
        seen += [w for found in photos for w in found]
    print(table(seen))
    if given.diagram is not None:
        # In a file there is no page whose ground, letters and ink it could take.
        paper = 'style="background:#fff;color:#222;font-family:sans-serif;'
        svg = to_svg(diagram(seen)).replace('style="', paper, 1)
        given.diagram.write_text(f"{svg}\n", encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
