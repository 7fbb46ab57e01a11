"""Work orders: many parts, photos that sort themselves, measuring, papers."""

from damagescore.orders.codes import JobCode, decode, encode
from damagescore.orders.job_cards import write_job_cards
from damagescore.orders.order_file import (
    OrderFolder,
    is_order_folder,
    read_order,
    read_order_folder,
)
from damagescore.orders.record import (
    Order,
    OrderPart,
    OrderPhoto,
    assign,
    new_order,
    order_from_dict,
    order_to_dict,
)
from damagescore.orders.sorting import Incoming, codes_in, sort_photo, sort_photos

__all__ = [
    "Incoming",
    "JobCode",
    "Order",
    "OrderFolder",
    "OrderPart",
    "OrderPhoto",
    "assign",
    "codes_in",
    "decode",
    "encode",
    "is_order_folder",
    "new_order",
    "order_from_dict",
    "order_to_dict",
    "read_order",
    "read_order_folder",
    "sort_photo",
    "sort_photos",
    "write_job_cards",
]
