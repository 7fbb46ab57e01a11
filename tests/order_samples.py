"""An order of three invented parts."""

from damagescore.inspection.record import Part
from damagescore.orders import Order, OrderPart, new_order
from damagescore.scale import ScaleRequest

NUMBER = "HVRW-0917"
AT = "2031-04-30T09:15:00+00:00"


def order_part(serial: str, *, number: str = "HV-2210", **more: object) -> OrderPart:
    part = Part(part_number=number, serial_number=serial, hours=600.0)
    return OrderPart(part=part, **more)  # type: ignore[arg-type]


def sample_order(*parts: OrderPart) -> Order:
    usual = (
        order_part("0117"),
        order_part("0118"),
        order_part("0009", number="HV-1418", clock_hours=(12.0, 3.0, 6.0, 9.0),
                   scale=ScaleRequest(edge_radius_mm=32.0)),
    )  # fmt: skip
    return new_order(
        NUMBER, parts or usual, customer_reference="Stand 3", order_id="one", at=AT
    )
