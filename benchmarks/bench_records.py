"""Time to list, search and open among many records: `python -m benchmarks.bench_records`.

A store of records whose measurements are those of a demo photo, with parts, dates, people and
results that differ; half of them are signed. It is made once in `--data` and used again; its
rows are written straight into the tables, since signing as many would take far longer.
Best of five; the slowest record opened is a worst case, so it holds what the machine did
besides, and stands beside its processor time. With `--database` the records lie in PostgreSQL.
"""

import argparse
import os
import platform
import random
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy.orm import Session

from damagescore.inspection import (
    add_photo,
    confirm_all,
    inspection_to_dict,
    new_inspection,
)
from damagescore.inspection.record import Inspection, Part, Signature
from damagescore.inspection.seal import sorted_json
from damagescore.measure import measure_file
from damagescore.measurement import MeasureOptions
from damagescore.records import Filters, Store
from damagescore.records.projection import project
from damagescore.records.tables import IndexRow, InspectionRow, WordRow

PHOTO = Path(__file__).parents[1] / "demo_images" / "hv2210-01-cracks.jpg"
OPENED = 1000
FIRST = datetime(2026, 1, 1, tzinfo=UTC)
PEOPLE = ("R. Alder", "B. Rowan", "J. Elm", "M. Hazel")
OUTCOMES = ("within", "borderline", "exceeded", "not_fully_assessed")

SEARCHES: Mapping[str, Filters] = {
    "newest page": Filters(),
    "one word": Filters(text="hv-2217"),
    "two words, no record": Filters(text="hv-2217 nowhere"),
    "serial number": Filters(serial_number="004321"),
    "one month": Filters(created_from="2030-03-01", created_to="2030-03-31"),
    "result and signed": Filters(outcome="exceeded", signed=True),
    "signer and usage": Filters(signer="J. Elm", usage_min=90, usage_max=110),
    "kind of damage and hours": Filters(kind="crack", hours_min=100, hours_max=200),
    "a photo": Filters(photo="0" * 64),
    "superseded": Filters(superseded=True),
}


def main() -> None:
    given = _arguments()
    with Store(given.data, url=given.database) as store:
        missing = given.count - store.find(Filters(), limit=1).total
        if missing > 0:
            _fill(store, given.count, first=given.count - missing)
        print(f"{platform.machine()}, {os.cpu_count()} cores, Python "
              f"{platform.python_version()}, {store.engine.dialect.name}, "
              f"load {os.getloadavg()[0]:.1f}, {given.count} records\n")  # fmt: skip
        print("| what | ms | processor ms | records |\n| --- | --- | --- | --- |")
        for name, filters in SEARCHES.items():
            _search(store, name, filters)
        _search(store, "last page", Filters(), offset=given.count - 50)
        _open_some(store, given.count)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--data", type=Path, default=Path("out/bench_records"))
    parser.add_argument("--database", metavar="URL")
    return parser.parse_args()


def _search(store: Store, name: str, filters: Filters, *, offset: int = 0) -> None:
    total = store.find(filters, limit=50, offset=offset).total
    waited_s, busy_s = _best_s(lambda: store.find(filters, limit=50, offset=offset))
    print(f"| {name} | {1000 * waited_s:.1f} | {1000 * busy_s:.1f} | {total} |")


def _best_s(work: Callable[[], object]) -> tuple[float, float]:
    """Best of five: seconds waited, and seconds of this process on the processor."""
    waited, busy = [], []
    for _ in range(5):
        start, begun = time.perf_counter(), time.process_time()
        work()
        waited.append(time.perf_counter() - start)
        busy.append(time.process_time() - begun)
    return min(waited), min(busy)


def _open_some(store: Store, count: int) -> None:
    chosen = random.Random(0).sample(range(count), min(count, OPENED))
    times, spent = [], []
    for number in chosen:
        start, busy = time.perf_counter(), time.process_time()
        store.load(f"record-{number}")
        times.append(time.perf_counter() - start)
        spent.append(time.process_time() - busy)
    times.sort()
    spent.sort()
    for which, place in (("median", len(times) // 2), ("slowest", -1)):
        print(f"| open one, {which} of {len(times)} | {1000 * times[place]:.1f} | "
              f"{1000 * spent[place]:.1f} | 1 |")  # fmt: skip


def _fill(store: Store, count: int, *, first: int) -> None:
    sha256 = store.put_photo(PHOTO.read_bytes())
    measurement = measure_file(PHOTO, MeasureOptions()).to_dict()
    begun = new_inspection(by=PEOPLE[0], inspection_id="pattern")
    with_photo = add_photo(begun, sha256=sha256, name=PHOTO.name, measurement=measurement,
                           by=PEOPLE[0])  # fmt: skip
    pattern = confirm_all(with_photo, sha256, by=PEOPLE[0])
    plain = inspection_to_dict(pattern)
    same = {name: sorted_json(plain[name]) for name in ("edits", "photos")}
    for start in range(first, count, 500):
        with store.writing() as session:
            for number in range(start, min(start + 500, count)):
                _add(session, _varied(pattern, number), same)


def _add(session: Session, record: Inspection, same: Mapping[str, str]) -> None:
    plain = inspection_to_dict(record)
    rest = sorted_json({k: v for k, v in plain.items() if k not in same})
    signature = record.signature
    session.add(
        InspectionRow(
            id=record.id, revision=1, created_at=record.created_at, saved_at=record.created_at,
            signed=signature is not None, signed_at=None if signature is None else signature.at,
            supersedes=record.supersedes,
            body="{" + "".join(f'"{k}":{v},' for k, v in same.items()) + rest[1:],
        )
    )  # fmt: skip
    made = project(record)
    session.add(IndexRow(**made.columns))
    session.add_all(
        WordRow(inspection_id=record.id, field=field, value=value)
        for field, value in made.words
    )


def _varied(pattern: Inspection, number: int) -> Inspection:
    drawn = random.Random(number)
    at = (FIRST + timedelta(hours=5 * number)).isoformat(timespec="seconds")
    part = Part(
        part_number=f"HV-{2210 + number % 40}", serial_number=f"{number:06d}",
        work_order=f"HVRW-{number // 10:05d}", hours=round(drawn.uniform(0, 4000), 1),
        cycles=float(drawn.randrange(9000)), position=f"Test stand {number % 7}",
    )  # fmt: skip
    assessment = {"outcome": drawn.choice(OUTCOMES), "score": round(drawn.uniform(0, 150), 2)}
    before = f"record-{number - 2}" if number % 20 == 2 else None
    signature = None
    if number % 2 == 0:
        signature = Signature(
            name=PEOPLE[number // 2 % 4], authorisation="HV-7", statement="Trial record.",
            disposition="refer", reason="", at=at, content_sha256="0" * 64,
        )  # fmt: skip
    return replace(
        pattern, id=f"record-{number}", created_at=at, part=part, assessment=assessment,
        supersedes=before, signature=signature,
    )  # fmt: skip


if __name__ == "__main__":
    main()
