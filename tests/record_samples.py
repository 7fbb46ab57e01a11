"""Records for the tests of the store, and ways to damage one behind its back."""

from dataclasses import replace

from sqlalchemy import text

from damagescore.inspection import content_sha256
from damagescore.inspection.record import Edit, HandMeasurement, Inspection, Part, Signature
from damagescore.quantity import Measured, NotMeasured
from damagescore.records import Store

AT = "2026-11-25T10:00:00+00:00"


def an_inspection(name: str = "rec-1", **changes: object) -> Inspection:
    part = Part(part_number="HV-2210", serial_number="0042", work_order="WO-7", hours=12.5)
    hand = (
        HandMeasurement(
            quantity="probed_depth", value=Measured(value=1.2, u=0.1, unit="mm"),
            gauge_id="G-1", by="B. Rowan", at=AT, layer=2,
        ),
        HandMeasurement(
            quantity="free_height", value=NotMeasured(reason="gauge away", unit="mm"),
            gauge_id="G-2", by="B. Rowan", at=AT,
        ),
    )  # fmt: skip
    whole = Inspection(
        id=name, created_at=AT, part=part, hand=hand, software="damagescore 0.1.0"
    )
    return replace(whole, **changes)  # type: ignore[arg-type]


def an_edit(number: int, by: str = "R. Alder") -> Edit:
    return Edit(number=number, at=AT, by=by, action="confirm", target="crack-1")


def signed(inspection: Inspection) -> Inspection:
    signature = Signature(
        name="R. Alder", authorisation="HV-INSP-7", statement="I looked at this part myself.",
        disposition="remove", reason="crumbling", at=AT, content_sha256="",
    )  # fmt: skip
    whole = replace(inspection, signature=signature)
    sealed = replace(signature, content_sha256=content_sha256(whole))
    return replace(inspection, signature=sealed)


def tamper(store: Store, *statements: str) -> None:
    """Change the database as somebody would who may do everything with it."""
    with store.engine.begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("SET LOCAL session_replication_role = replica"))
        else:
            named = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
            for (name,) in connection.execute(text(named)).all():
                connection.execute(text(f"DROP TRIGGER {name}"))
        for statement in statements:
            connection.execute(text(statement))
