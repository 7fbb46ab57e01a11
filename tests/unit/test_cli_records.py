"""The commands of the record store, from the outside."""

import json
import shutil
import sqlite3
import zipfile
from pathlib import Path

import pytest

from damagescore.cli import main
from damagescore.inspection import (
    add_photo,
    assess_inspection,
    confirm_all,
    new_inspection,
    sign_inspection,
)
from damagescore.inspection.record import Inspection, Part
from damagescore.limits import Criterion, LimitSet
from damagescore.measure import Measurement
from damagescore.photo.record import Photo
from damagescore.records import Store
from damagescore.records.archive import write_archive
from damagescore.records.keys import keys_of, unlock_key
from tests.unit.conftest import CRACKS

PASSPHRASE = "snow on the alders"


def limits() -> LimitSet:
    crack = Criterion(
        id="long", text="cracks over 5 mm", quantity="crack_length", limit=5.0, unit="mm"
    )
    return LimitSet(title="Invented", invented=True, criteria=(crack,))


def a_record(store: Store, measured: Measurement, *, name: str = "rec-1") -> Inspection:
    sha256 = store.put_photo(CRACKS.read_bytes())
    begun = new_inspection(Part(part_number="HV-2210", serial_number="0042"), by="R. Alder",
                           inspection_id=name)  # fmt: skip
    with_photo = add_photo(begun, sha256=sha256, name=CRACKS.name,
                           measurement=measured.to_dict(), by="R. Alder")  # fmt: skip
    reviewed = confirm_all(with_photo, sha256, by="R. Alder")
    key = unlock_key(store, keys_of(store)[0].public_key, PASSPHRASE)
    return sign_inspection(
        assess_inspection(reviewed, limits(), by="R. Alder"), name="R. Alder",
        authorisation="HV-7", statement="Seen.", disposition="refer", reason="trial", key=key,
    )  # fmt: skip


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory, measured: Measurement) -> Path:
    """A data folder with a key that the command made, and one sealed record."""
    folder = tmp_path_factory.mktemp("made")
    (folder / "passphrase").write_text(PASSPHRASE + "\n")
    assert main(["key", "--name", "R. Alder", "--authorisation", "HV-7",
                 "--data", str(folder / "data"),
                 "--passphrase-file", str(folder / "passphrase")]) == 0  # fmt: skip
    with Store(folder / "data") as store:
        store.save(a_record(store, measured))
    return folder / "data"


@pytest.fixture
def data(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv("DAMAGESCORE_DATABASE", raising=False)
    return Path(shutil.copytree(made, tmp_path / "data"))


def test_the_record_is_found_archived_verified_backed_up_and_restored(
    data: Path, tmp_path: Path, photo: Photo, capsys: pytest.CaptureFixture[str]
) -> None:
    at = ["--data", str(data)]
    assert main(["records", "hv-2210", "--kind", "crack", "--usage-min", "1", *at]) == 0
    assert main(["records", "--no-signed", *at]) == 0
    told = capsys.readouterr().out
    assert "rec-1" in told
    assert told.endswith("0 records, page 1 of 1\n")
    out, back = tmp_path / "a.zip", tmp_path / "b.zip"
    assert main(["archive", "rec-1", "--out", str(out), "--by", "R. Alder", *at]) == 0
    assert main(["verify", str(out)]) == 0
    assert "Record rec-1 holds." in capsys.readouterr().out
    with zipfile.ZipFile(out) as given:
        names = set(given.namelist())
    assert {"papers/report.pdf", "papers/findings.csv", "papers/overlay-1.png"} <= names
    assert f"photos/{photo.sha256}" in names
    assert main(["backup", "--out", str(back), *at]) == 0
    assert main(["restore", str(back), "--data", str(tmp_path / "new")]) == 0
    assert main(["verify", "--data", str(tmp_path / "new")]) == 0
    assert "1 signed records hold: 1 sealed with a key" in capsys.readouterr().out
    assert main(["audit", "--data", str(tmp_path / "new")]) == 0
    actions = [line.split("  ")[3] for line in capsys.readouterr().out.splitlines()[:-1]]
    assert actions == ["restore", "backup", "archive", "sign", "make key"]
    assert main(["reindex", *at]) == 0


def test_a_change_gives_exit_code_4_and_names_the_record_and_what_differs(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    raw = sqlite3.connect(data / "records.sqlite")
    raw.execute("DROP TRIGGER signed_is_kept")
    raw.execute("UPDATE inspection SET body = replace(body, '0042', '0043')")
    raw.commit()
    raw.close()
    photo = next((data / "photos").rglob("*/*"))
    photo.write_bytes(photo.read_bytes()[:-1])
    assert main(["verify", "--data", str(data)]) == 4
    told = capsys.readouterr().out
    assert "CHANGED: Signed record rec-1 was altered after signing: what differs is" in told
    assert "part serial number" in told
    assert f"Record rec-1, photo 1 ({CRACKS.name}): The photo" in told


def test_a_changed_archive_gives_exit_code_4(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, bad = tmp_path / "a.zip", tmp_path / "bad.zip"
    with Store(data) as store:
        write_archive(store, "rec-1", out, by="R. Alder", papers={})
    with zipfile.ZipFile(out) as given, zipfile.ZipFile(bad, "w") as made:
        for name in given.namelist():
            content = given.read(name)
            if name == "record.json":
                plain = json.loads(content)
                plain["part"]["serial_number"] = "0043"
                content = json.dumps(plain).encode()
            made.writestr(name, content)
    assert main(["verify", str(bad)]) == 4
    assert "CHANGED: record.json was altered." in capsys.readouterr().out


def test_faults_are_one_sentence_with_a_code(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    at = ["--data", str(data)]
    for arguments, code, told in (
        (["verify", "--data", str(tmp_path / "none")], 2, "There is no data folder"),
        (["archive", "rec-9", "--out", str(tmp_path / "x.zip"), *at], 3, "no record 'rec-9'"),
        (["verify", str(data / "records.sqlite")], 3, "not a usable file"),
        (["restore", str(tmp_path / "none.zip"), "--data", str(tmp_path / "n")], 3, "none.zip"),
        (["restore", str(data / "records.sqlite"), *at], 3, "is not empty"),
        (["records", "--created-from", "1.2.2026", *at], 3, "is not a day"),
        (["records", "--page", "0", *at], 2, "The page is 0"),
        (["retention", "--years", "2", "--dispose", "rec-1", *at], 3, "not past the 2 years"),
    ):  # fmt: skip
        assert main(arguments) == code
        said = capsys.readouterr().err
        assert told in said
        assert "Traceback" not in said
    assert main(["retention", "--years", "2", *at]) == 0
    assert "0 records are past 2 years." in capsys.readouterr().out
