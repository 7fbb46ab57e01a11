"""Work orders in the store."""

from dataclasses import replace
from pathlib import Path

import pytest

from damagescore.errors import RecordError
from damagescore.orders import assign, order_from_dict, order_to_dict
from damagescore.orders.record import OrderPhoto
from damagescore.records import Store
from damagescore.records.work_orders import WorkOrderStore
from tests.order_samples import NUMBER, sample_order


@pytest.fixture
def kept(tmp_path: Path) -> WorkOrderStore:
    with Store(tmp_path) as store:
        return WorkOrderStore(store)


def test_an_order_is_read_back_and_listed(kept: WorkOrderStore) -> None:
    order = sample_order()
    assert kept.save(order_to_dict(order), expected_revision=0) == 1
    plain, revision = kept.load(order.id)
    assert (order_from_dict(plain), revision) == (order, 1)
    (summary,) = kept.list()
    assert (summary.number, summary.customer_reference) == (NUMBER, "Stand 3")


def test_who_does_not_know_the_newest_order_is_told(kept: WorkOrderStore) -> None:
    order = sample_order()
    kept.save(order_to_dict(order), expected_revision=0)
    with_photo = replace(order, photos=(OrderPhoto(sha256="a", name="a.jpg"),))
    mine = order_to_dict(assign(with_photo, "a", "HV-2210 0117"))
    assert kept.save(mine, expected_revision=1) == 2
    with pytest.raises(RecordError, match="changed by someone else"):
        kept.save(order_to_dict(with_photo), expected_revision=1)
    with pytest.raises(RecordError, match="changed by someone else"):
        kept.save(order_to_dict(with_photo), expected_revision=0)
    assert kept.load(order.id)[0]["photos"][0]["part"] == "HV-2210 0117"
    with pytest.raises(RecordError, match="no work order 'other'"):
        kept.load("other")
