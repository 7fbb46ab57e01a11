"""Accuracy on open photographs: `python -m benchmarks.bench_open_photos [PART ...]`.

Each part lives in a module of its own and returns a table; without a name all are run.
"""

import argparse
import sys
from collections.abc import Callable, Mapping

from benchmarks import open_cracks, open_textures

PARTS: Mapping[str, Callable[[], str]] = {
    "cracks": open_cracks.table,
    "crumbling": open_textures.table,
}


def main() -> int:
    """Print the table of each part asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("parts", nargs="*", metavar="PART", help=", ".join(PARTS))
    given = parser.parse_args()
    unknown = [p for p in given.parts if p not in PARTS]
    if unknown:
        parser.error(f"no such part: {', '.join(unknown)}; there are {', '.join(PARTS)}")
    for name in given.parts or PARTS:
        print(f"## {name}\n\n{PARTS[name]()}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
