"""Documents in versions."""

import pytest
from sqlalchemy import text

from damagescore.errors import RecordError
from damagescore.records import Store
from damagescore.records.documents import DocumentShelf


@pytest.fixture
def shelf(store: Store):
    return DocumentShelf(store)


def test_versions_are_added_and_the_newest_is_given(shelf: DocumentShelf) -> None:
    shelf.add("grade_scale", "own", {"steps": [1]})
    shelf.add("grade_scale", "own", {"steps": [1, 2]}, version=2)
    shelf.add("library_photo", "own", {"grade": 3})
    (newest,) = shelf.newest("grade_scale")
    assert (newest.version, newest.body) == (2, {"steps": [1, 2]})
    assert [d.version for d in shelf.versions("grade_scale", "own")] == [1, 2]
    assert [d.body for d in shelf.versions("library_photo")] == [{"grade": 3}]
    assert shelf.newest("target_check") == ()


@pytest.mark.parametrize("version", [1, 3])
def test_a_version_out_of_order_is_refused(shelf: DocumentShelf, version: int) -> None:
    shelf.add("grade_scale", "own", {})
    with pytest.raises(RecordError, match="the newest one is 1"):
        shelf.add("grade_scale", "own", {}, version=version)


@pytest.mark.parametrize("change", ["UPDATE document SET body = '{}'", "DELETE FROM document"])
def test_the_database_refuses_to_change_a_kept_version(shelf, change) -> None:
    shelf.add("practice_answer", "a", {"grade": 2})
    with pytest.raises(RecordError), shelf._store.writing() as session:
        session.execute(text(change))
    assert shelf.versions("practice_answer")[0].body == {"grade": 2}
