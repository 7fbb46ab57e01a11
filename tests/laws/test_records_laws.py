"""Laws of the store: round trips, search, and a chain that sees every change."""

import string
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from hypothesis import given, settings
from hypothesis import strategies as st

from damagescore.inspection import content_sha256
from damagescore.inspection.record import Inspection, Part, Signature
from damagescore.records import Store
from damagescore.records.vault import PhotoVault
from tests.record_samples import tamper

AT = "2026-11-25T10:00:00+00:00"
# No lone surrogates: they are not text and cannot be stored as UTF-8.
WORDS = st.text(st.characters(exclude_categories=["Cs", "Cc", "Zs", "Zl", "Zp"]), min_size=1)


@settings(max_examples=15, deadline=None)
@given(part_number=WORDS, serial=WORDS, order=WORDS)
def test_any_text_comes_back_and_is_found(part_number: str, serial: str, order: str) -> None:
    with TemporaryDirectory() as folder:
        store = Store(Path(folder))
        part = Part(part_number=part_number, serial_number=serial, work_order=order)
        given_one = Inspection(id="rec-1", created_at=AT, part=part)
        store.save(given_one)
        store.save(Inspection(id="rec-2", created_at=AT))
        assert store.load("rec-1") == given_one
        for text in (part_number, serial, order):
            assert "rec-1" in [s.id for s in store.search(text)]
        store.close()


@settings(max_examples=40, deadline=None)
@given(data=st.binary(min_size=1, max_size=2000))
def test_any_bytes_come_back_from_the_vault(data: bytes) -> None:
    with TemporaryDirectory() as folder:
        vault = PhotoVault(folder=Path(folder))
        assert vault.read(vault.put(data)) == data


@settings(max_examples=15, deadline=None)
@given(data=st.data(), count=st.integers(2, 5))
def test_the_chain_sees_a_changed_letter_in_any_signed_record(
    data: st.DataObject, count: int
) -> None:
    with TemporaryDirectory() as folder:
        store = Store(Path(folder))
        for number in range(count):
            store.save(_signed(f"rec-{number}"))
        assert store.verify() == []
        store.close()
        changed = f"rec-{data.draw(st.integers(0, count - 1))}"
        letter = data.draw(st.sampled_from(string.digits))
        store = Store(Path(folder))
        tamper(
            store,
            f"UPDATE inspection SET body = replace(body, 'HV-x', 'HV-{letter}') "
            f"WHERE id = '{changed}'",
        )
        told = store.verify()
        what = "was altered after signing: what differs is part part number."
        assert f"Signed record {changed} {what}" in told
        assert all(changed in line for line in told)
        store.close()


def _signed(name: str) -> Inspection:
    draft = Inspection(id=name, created_at=AT, part=Part(part_number="HV-x"))
    signature = Signature(
        name="R. Alder", authorisation="HV-7", statement="Seen.", disposition="remove",
        reason="", at=AT, content_sha256="",
    )  # fmt: skip
    whole = replace(draft, signature=signature)
    sealed = replace(signature, content_sha256=content_sha256(whole))
    return replace(draft, signature=sealed)
