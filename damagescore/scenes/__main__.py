"""Command line: `python -m damagescore.scenes SET --out DIR`; sets: demo, history and more."""

import argparse
import sys
from pathlib import Path

from tqdm import tqdm

from damagescore.errors import DamageScoreError, UsageError
from damagescore.scenes.checking import checking_specs
from damagescore.scenes.demo import demo_specs
from damagescore.scenes.development import broad_specs, development_specs, hard_specs
from damagescore.scenes.order import order_specs, write_order
from damagescore.scenes.render import render, write_scene
from damagescore.scenes.series import write_series
from damagescore.scenes.spec import SceneSpec

WHICH = (
    "demo",
    "order",
    "history",
    "endurance",
    "development",
    "hard",
    "broad",
    "checking",
)


def choose_specs(
    which: str, count: int | None, *, width_px: int = 2200
) -> tuple[tuple[SceneSpec, ...], int]:
    """Specs of a set and the seed of its first photo; the demo keeps its own sizes."""
    if width_px < 200:
        raise UsageError(f"The width is {width_px} px.", remedy="Give a width of 200 or more.")
    if count is not None and count < 1:
        raise UsageError(f"The count is {count}.", remedy="Give a count of 1 or more.")
    if which == "demo":
        return demo_specs()[:count], 1000
    if which == "order":
        return order_specs()[:count], 1200
    size_px = (width_px, round(0.75 * width_px))
    if which == "hard":
        return hard_specs(count or 24, size_px=size_px), 3000
    if which == "broad":
        return broad_specs(count or 24, size_px=size_px), 4000
    if which == "development":
        return development_specs(count or 24, size_px=size_px), 2000
    return checking_specs(count or 24, size_px=size_px), 5000


def build_parser() -> argparse.ArgumentParser:
    """Arguments of the command."""
    parser = argparse.ArgumentParser(prog="python -m damagescore.scenes", description=__doc__)
    parser.add_argument("which", choices=WHICH)
    parser.add_argument("--out", type=Path, required=True, help="folder for the photos")
    parser.add_argument(
        "--count", type=int, help="how many; all photos of demo and order, or 24"
    )
    parser.add_argument(
        "--first",
        type=int,
        default=0,
        help="number of the first photo; the ones before are left out",
    )
    parser.add_argument(
        "--width", type=int, default=2200, help="photo width in pixels, but for demo and order"
    )
    parser.add_argument("--masks", action="store_true", help="write label masks for demo too")
    return parser


def _up_to(first: int, count: int | None) -> int | None:
    """How many photos to draw so that `count` of them follow the first wanted one."""
    if first < 0:
        raise UsageError(f"The first photo is {first}.", remedy="Give a number of 0 or more.")
    if count is None or count < 1:
        return count if first == 0 else first + 24
    return first + count


def main(arguments: list[str] | None = None) -> int:
    """Render a set of photos; return the exit code (0 done, 2 wrong use)."""
    options = build_parser().parse_args(arguments)
    try:
        if options.which in ("history", "endurance"):
            write_series(options.out, only=options.which)
            return 0
        specs, seed = choose_specs(
            options.which, _up_to(options.first, options.count), width_px=options.width
        )
        masks = options.masks or options.which not in ("demo", "order")
        if options.which == "order":
            write_order(options.out)
        wanted = list(enumerate(specs))[options.first :]
        for i, spec in tqdm(wanted, desc=options.which, unit="photo"):
            write_scene(render(spec, seed + i), options.out, with_mask=masks)
    except DamageScoreError as fault:
        sys.stderr.write(f"{fault}\n")
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
