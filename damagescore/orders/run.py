"""An order folder from its photos to its papers, without the app."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from tqdm import tqdm

from damagescore.batch import BY
from damagescore.errors import PhotoError
from damagescore.limits import LimitSet
from damagescore.measurement import MeasureOptions
from damagescore.orders.journal import Job, Journal
from damagescore.orders.measuring import measure_jobs
from damagescore.orders.order_file import OrderFolder, read_order_folder
from damagescore.orders.papers import (
    OrderPapers,
    result_words,
    score_words,
    write_order_papers,
)
from damagescore.orders.record import Order, options_of
from damagescore.orders.results import PartResult, Shot, part_result, ranked
from damagescore.quantity import Length
from damagescore.scale import ScaleRequest

JOURNAL = "journal"
"""Folder among the papers with what was measured."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderRun:
    """An order with what came of it."""

    order: Order
    results: tuple[PartResult, ...]
    papers: OrderPapers
    resumed: int

    @property
    def complete(self) -> bool:
        """Whether every photo was assigned and could be judged."""
        return not self.order.to_assign and not any(r.to_retake for r in self.results)

    @property
    def summary(self) -> str:
        """A few lines for a terminal."""
        lines = [f"Order {self.order.number}: {len(self.order.parts)} parts"]
        for number, result in enumerate(self.results, start=1):
            score = score_words(result)
            said = f"{result_words(result.outcome)}{f', score {score}' if score else ''}"
            seen = f", round edge seen: {result.seen}" if result.seen else ""
            lines.append(f"{number}. {result.part.key}: {said}{seen}")
            lines += [f"     take again: {name}: {why}" for name, why in result.to_retake]
        lines += [f"To be assigned: {p.name}: {p.reason}" for p in self.order.to_assign]
        return "\n".join([*lines, str(self.papers.pdf), str(self.papers.csv)])


def run_order(
    folder: Path,
    *,
    limits: LimitSet,
    out: Path,
    unit: Length = "mm",
    workers: int | None = None,
    scheduler: str | None = None,
    progress: bool = True,
    usual: MeasureOptions | None = None,
) -> OrderRun:
    """Sort, measure and assess all photos of an order folder, and write its papers.

    Started again after it was cut off, it measures only what is missing.

    Parameters
    ----------
    folder : Path
        See `read_order_folder`.
    limits : LimitSet
    out : Path
        Gets order.pdf, summary.csv, a folder for each part, and the journal.
    unit : "mm" or "in"
    workers, scheduler
        See `measure_jobs`.
    progress : bool
        Show a bar while measuring.
    usual : MeasureOptions or None
        Scale and layers of parts for which the order names none.
    """
    found = _with_usual(read_order_folder(folder), usual or MeasureOptions())
    jobs = _jobs(found, limits)
    told = _bar(len(jobs), shown=progress)
    batch = measure_jobs(
        list(jobs.values()), Journal(folder=out / JOURNAL), workers=workers,
        scheduler=scheduler, progress=told,
    )  # fmt: skip
    results = []
    for part in found.order.parts:
        shots = [
            Shot(
                photo=photo, options=jobs[photo.sha256].options,
                measurement=batch.measured.get(jobs[photo.sha256].key),
                fault=batch.failed.get(jobs[photo.sha256].key, ""),
            )
            for photo in found.order.photos_of(part)
        ]  # fmt: skip
        results.append(part_result(part, shots, limits=limits, by=BY))
    papers = write_order_papers(
        found.order, results, lambda k: _bytes(found, k), out, unit=unit
    )
    return OrderRun(
        order=found.order, results=ranked(results), papers=papers, resumed=batch.resumed
    )


def _with_usual(found: OrderFolder, usual: MeasureOptions) -> OrderFolder:
    parts = tuple(
        replace(
            part,
            scale=usual.scale if part.scale == ScaleRequest() else part.scale,
            n_layers=part.n_layers or usual.n_layers,
        )
        for part in found.order.parts
    )
    return replace(found, order=replace(found.order, parts=parts))


def _jobs(found: OrderFolder, limits: LimitSet) -> dict[str, Job]:
    """By photo: how it is measured."""
    smallest = limits.smallest_length_mm
    return {
        photo.sha256: Job(
            path=found.files[photo.sha256], sha256=photo.sha256,
            options=options_of(part, photo, smallest_limit_mm=smallest),
        )
        for part in found.order.parts
        for photo in found.order.photos_of(part)
    }  # fmt: skip


def _bytes(found: OrderFolder, sha256: str) -> bytes:
    try:
        return found.files[sha256].read_bytes()
    except OSError as fault:
        raise PhotoError(f"The photo's file is gone: {fault.strerror or fault}.") from fault


def _bar(total: int, *, shown: bool) -> Callable[[int, int, str], None]:
    bar = tqdm(total=total, unit="photo", disable=None if shown else True)

    def tell(done: int, total: int, name: str) -> None:
        bar.set_postfix_str(name)
        bar.update(done - bar.n)
        if done == total:
            bar.close()

    return tell
