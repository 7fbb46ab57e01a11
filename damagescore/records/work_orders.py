"""Work orders in the store: each whole as plain data, saved only by who knows the newest."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select, update

from damagescore.errors import RecordError
from damagescore.inspection.checks import now_utc
from damagescore.inspection.seal import sorted_json
from damagescore.records.store import Store
from damagescore.records.tables import WorkOrderRow


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderSummary:
    """One order in a list."""

    id: str
    number: str
    customer_reference: str
    created_at: str
    saved_at: str


class WorkOrderStore:
    """Orders in the database of a store.

    Parameters
    ----------
    store : Store
        Its connections serve these too; they end when it is closed.
    """

    def __init__(self, store: Store) -> None:
        self._store = store

    def save(self, plain: Mapping[str, Any], *, expected_revision: int) -> int:
        """Keep an order; return its new revision.

        Parameters
        ----------
        plain : mapping
            With "id", "number", "customer_reference" and "created_at".
        expected_revision : int
            That the changes were made on; 0 for a new order.

        Raises
        ------
        RecordError
            When someone else saved a newer one.
        """
        columns = {
            "number": plain["number"],
            "customer_reference": plain["customer_reference"],
            "created_at": plain["created_at"],
            "saved_at": now_utc(),
            "body": sorted_json(plain),
        }
        with self._store.writing() as session:
            if expected_revision == 0 and session.get(WorkOrderRow, plain["id"]) is None:
                session.add(WorkOrderRow(id=plain["id"], revision=1, **columns))
                return 1
            changed = session.execute(
                update(WorkOrderRow)
                .where(
                    WorkOrderRow.id == plain["id"], WorkOrderRow.revision == expected_revision
                )
                .values(revision=expected_revision + 1, **columns)
                .returning(WorkOrderRow.revision)
            ).all()
            if not changed:
                raise RecordError(
                    f"Order {plain['number']} was changed by someone else meanwhile.",
                    remedy="Look at what is shown now and repeat your last change.",
                )
        return expected_revision + 1

    def load(self, order_id: str) -> tuple[dict[str, Any], int]:
        """Give an order as plain data, and its revision; RecordError when there is none."""
        with self._store.reading() as session:
            row = session.get(WorkOrderRow, order_id)
            if row is None:
                raise RecordError(
                    f"There is no work order {order_id[:80]!r}.",
                    remedy="Choose one from the list of work orders.",
                )
            found: dict[str, Any] = json.loads(row.body)
            return found, row.revision

    def list(self, *, limit: int = 200) -> tuple[OrderSummary, ...]:
        """List orders, newest first."""
        newest = (WorkOrderRow.created_at.desc(), WorkOrderRow.id.desc())
        with self._store.reading() as session:
            rows = session.scalars(select(WorkOrderRow).order_by(*newest).limit(limit))
            return tuple(
                OrderSummary(
                    id=r.id, number=r.number, customer_reference=r.customer_reference,
                    created_at=r.created_at, saved_at=r.saved_at,
                )
                for r in rows
            )  # fmt: skip
