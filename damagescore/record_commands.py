"""What the commands of the record store do."""

import argparse
import getpass
import os
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import fields
from pathlib import Path

from damagescore.errors import DamageScoreError, UsageError
from damagescore.inspection.record import Inspection, PhotoEntry
from damagescore.photo import read_photo
from damagescore.records import Filters, Store, Summary, open_store
from damagescore.records.accounts import (
    accounts,
    add_account,
    set_disabled,
    set_password,
    set_role,
)
from damagescore.records.archive import write_archive
from damagescore.records.archive_check import check_archive
from damagescore.records.backup import restore_backup, write_backup
from damagescore.records.keys import make_key
from damagescore.records.retention import dispose, past_period
from damagescore.report import overlay_png, write_report

DONE, CHANGED = 0, 4

PAGE = 50


def run(given: argparse.Namespace) -> int:
    """Run one command and return its exit code."""
    return _COMMANDS[given.command](given)


def _store(given: argparse.Namespace) -> Store:
    if not given.data.is_dir():
        raise UsageError(
            f"There is no data folder {str(given.data)!r}.",
            remedy="Give it by --data or DAMAGESCORE_DATA.",
        )
    return open_store(given.data)


def _records(given: argparse.Namespace) -> int:
    wanted = {f.name: getattr(given, f.name) for f in fields(Filters) if f.name != "text"}
    filters = Filters(text=" ".join(given.words), **wanted)
    if given.page < 1:
        raise UsageError(f"The page is {given.page}.", remedy="Give 1 or more.")
    with _store(given) as store:
        found = store.find(filters, limit=PAGE, offset=(given.page - 1) * PAGE)
    for summary in found.records:
        print(_line(summary))
    pages = max(1, -(-found.total // PAGE))
    print(f"{found.total} records, page {given.page} of {pages}")
    return DONE


def _line(summary: Summary) -> str:
    score = "" if summary.score is None else f" {summary.score:.0f}"
    state = f"signed {summary.signed_at}" if summary.signed else "draft"
    words = (
        summary.id, summary.created_at[:10], summary.part_number or "-",
        summary.serial_number or "-", f"{summary.outcome or 'not assessed'}{score}", state,
        f"superseded by {summary.superseded_by}" if summary.superseded_by else "",
    )  # fmt: skip
    return "  ".join(words).rstrip()


def _verify(given: argparse.Namespace) -> int:
    if given.archive is not None:
        found = check_archive(given.archive)
        return _told(found.problems, found.notes, f"Record {found.record_id} holds.")
    with _store(given) as store:
        seen = store.examine()
    by_name = seen.n_records - seen.n_sealed
    good = (
        f"{seen.n_records} signed records hold: {seen.n_sealed} sealed with a key, {by_name} "
        f"signed by name only. Last link: {seen.head}"
    )
    return _told(seen.problems, seen.notes, good)


def _told(problems: tuple[str, ...], notes: tuple[str, ...], good: str) -> int:
    for problem in problems:
        print(f"CHANGED: {problem}")
    for note in notes:
        print(f"Note: {note}")
    print(f"{len(problems)} faults found." if problems else good)
    return CHANGED if problems else DONE


def _archive(given: argparse.Namespace) -> int:
    with _store(given) as store:
        inspection = store.load(given.record)
        papers = _papers(inspection, store)
        sha256 = write_archive(store, given.record, given.out, by=given.by, papers=papers)
    print(f"{given.out}  SHA-256 {sha256}")
    found = check_archive(given.out)
    return _told(found.problems, found.notes, f"Record {found.record_id} holds.")


def _papers(inspection: Inspection, store: Store) -> Mapping[str, bytes]:
    with tempfile.TemporaryDirectory() as folder:
        files = write_report(inspection, store.photo_bytes, Path(folder))
        papers = {p.name: p.read_bytes() for p in (files.pdf, files.csv)}
    for number, entry in enumerate(inspection.photos, start=1):
        if entry.measurement.get("quality", {}).get("usable"):
            papers[f"overlay-{number}.png"] = _overlay(entry, store)
    return papers


def _overlay(entry: PhotoEntry, store: Store) -> bytes:
    photo = read_photo(store.photo_bytes(entry.sha256), name=entry.name)
    states = {name: review.state for name, review in entry.reviews.items()}
    return overlay_png(photo.rgb, entry.measurement, states=states)


def _backup(given: argparse.Namespace) -> int:
    with _store(given) as store:
        found = write_backup(store, given.out, by=given.by)
    size = given.out.stat().st_size
    return _told(found.problems, (), f"{given.out}: {found.n_photos} photos, {size} bytes.")


def _restore(given: argparse.Namespace) -> int:
    url = os.environ.get("DAMAGESCORE_DATABASE") or None
    photos = os.environ.get("DAMAGESCORE_PHOTOS") or None
    with restore_backup(given.file, given.data, by=given.by, url=url, photos=photos) as store:
        seen = store.examine()
        total = store.find(Filters(), limit=1).total
    good = f"{total} records restored to {given.data}. Last link: {seen.head}"
    return _told(seen.problems, seen.notes, good)


def _retention(given: argparse.Namespace) -> int:
    with _store(given) as store:
        if given.dispose is not None:
            dispose(store, given.dispose, years=given.years, by=given.by, archive=given.archive)
            print(f"Record {given.dispose} was taken out.")
            return DONE
        found = past_period(store, years=given.years)
    for summary in found:
        print(_line(summary))
    print(f"{len(found)} records are past {given.years} years.")
    return DONE


def _key(given: argparse.Namespace) -> int:
    passphrase = _secret(given.passphrase_file, "passphrase")
    given.data.mkdir(parents=True, exist_ok=True)
    with _store(given) as store:
        made = make_key(
            store, name=given.name, authorisation=given.authorisation, passphrase=passphrase
        )
    print(f"Key of {made.name}: {made.public_key}")
    return DONE


def _secret(path: Path | None, what: str) -> str:
    """Ask twice for a passphrase or password, which is not shown; or read it from a file."""
    if path is not None:
        return path.read_text(encoding="utf-8").rstrip("\r\n")
    first = getpass.getpass(f"{what.capitalize()}: ")
    if getpass.getpass("Again: ") != first:
        raise DamageScoreError(f"The two {what}s differ.", remedy="Type it again.")
    return first


def _account(given: argparse.Namespace) -> int:
    if given.work == "add":
        given.data.mkdir(parents=True, exist_ok=True)
    with _store(given) as store:
        if given.work == "list":
            _list_accounts(store)
            return DONE
        print(_changed_account(store, given))
    return DONE


def _changed_account(store: Store, given: argparse.Namespace) -> str:
    name, by = given.name, given.by
    if given.work == "role":
        set_role(store, name, given.role, by=by)
        return f"{name} is {given.role} now."
    if given.work == "disable":
        set_disabled(store, name, not given.undo, by=by)
        return f"{name} {'may sign in again' if given.undo else 'is disabled'}."
    if given.work == "password":
        password = _secret(given.password_file, "password")
        set_password(store, name, password, by=by)
        return f"{name} has a new password."
    # An account that a provider signs in needs no password.
    asked = not given.email or given.password_file is not None
    password = _secret(given.password_file, "password") if asked else ""
    made = add_account(
        store, name=name, role=given.role, password=password, email=given.email, by=by
    )
    return f"{made.name} may sign in as {made.role}."


def _list_accounts(store: Store) -> None:
    known = accounts(store)
    for account in known:
        words = (
            account.name, account.role, "disabled" if account.disabled else "",
            account.email, "" if account.has_password else "no password",
        )  # fmt: skip
        print("  ".join(w for w in words if w))
    print(f"{len(known)} accounts" if known else "No accounts: the app asks nobody to sign in.")


def _audit(given: argparse.Namespace) -> int:
    with _store(given) as store:
        log = store.audit_log(target=given.record, limit=1000)
    for entry in log:
        print(f"{entry.number}  {entry.at}  {entry.by}  {entry.action}  {entry.target}  "
              f"{entry.detail}".rstrip())  # fmt: skip
    print(f"{len(log)} entries")
    return DONE


def _reindex(given: argparse.Namespace) -> int:
    with _store(given) as store:
        print(f"{store.rebuild_index()} records indexed.")
    return DONE


_COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {
    "records": _records, "verify": _verify, "archive": _archive, "backup": _backup,
    "restore": _restore, "retention": _retention, "key": _key, "audit": _audit,
    "reindex": _reindex, "account": _account,
}  # fmt: skip
