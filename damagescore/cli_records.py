"""The command line of the record store: search, verify, archive, back up, restore.

Exit code 4: something that was signed is not as it was.
"""

import argparse
import getpass
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

_NUMBERS: Mapping[str, str] = {
    "usage": "percent of the nearest limit", "hours": "hours of the part",
    "cycles": "cycles of the part",
}  # fmt: skip

_TEXTS: Mapping[str, str] = {
    "part_number": "exactly this part number", "serial_number": "exactly this serial number",
    "work_order": "exactly this work order", "position": "position, or a part of its name",
    "outcome": "within, borderline, exceeded or not_fully_assessed",
    "disposition": "continue_in_service, reinspect, refer or remove",
    "limit_title": "title of the limit set, or a part",
    "limit_revision": "revision of the limit set",
    "signer": "who signed, or a part of the name", "person": "anyone who worked on it",
    "kind": "a kind of damage: crack, bond_gap, crumbling or bulge",
    "layer": "a layer with damage", "photo": "SHA-256 of a photo",
    "gauge": "a gauge of hand measurements", "hand": "a quantity measured by hand",
    "action": "an edit, such as reject",
    "created_from": "first day, YYYY-MM-DD", "created_to": "last day",
    "signed_from": "first day of signing", "signed_to": "last day of signing",
}  # fmt: skip


_ROLES = "viewer, inspector, trainer or administrator"


def add_record_commands(commands: Any) -> None:
    """Add the commands of the record store."""
    _add_records(commands)
    _add_verify(commands)
    _add_archive(commands)
    _add_backup(commands)
    _add_restore(commands)
    _add_retention(commands)
    _add_key(commands)
    _add_account(commands)
    _add_audit(commands)
    _add_reindex(commands)


def _run(given: argparse.Namespace) -> int:
    # Loading the database takes half a second, which measuring a photo can do without.
    from damagescore import record_commands  # noqa: PLC0415

    return record_commands.run(given)


def _command(commands: Any, name: str, help_text: str) -> argparse.ArgumentParser:
    command: argparse.ArgumentParser = commands.add_parser(name, help=help_text)
    folder = Path(os.environ.get("DAMAGESCORE_DATA") or "damagescore-data")
    command.add_argument("--data", type=Path, default=folder, metavar="DIR")
    command.set_defaults(run=_run, command=name)
    return command


def _by(command: argparse.ArgumentParser) -> None:
    help_text = "who does it, for the audit log; the computer's user by default"
    command.add_argument("--by", default=getpass.getuser(), metavar="NAME", help=help_text)


def _add_records(commands: Any) -> None:
    command = _command(commands, "records", "search the records, newest first")
    command.add_argument("words", nargs="*", metavar="WORD")
    for name, meaning in _TEXTS.items():
        command.add_argument(_option(name), metavar="TEXT", help=meaning)
    for name, meaning in _NUMBERS.items():
        for end in ("min", "max"):
            command.add_argument(f"--{name}-{end}", type=float, metavar="NUMBER", help=meaning)
    for name in ("signed", "superseded"):
        command.add_argument(f"--{name}", action=argparse.BooleanOptionalAction, default=None)
    command.add_argument("--page", type=int, default=1, metavar="N", help="of 50 records each")


def _option(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def _add_verify(commands: Any) -> None:
    command = _command(commands, "verify", "look for any change to what was signed")
    command.add_argument(
        "archive", type=Path, nargs="?", metavar="ARCHIVE", help="of one record, elsewhere"
    )


def _add_archive(commands: Any) -> None:
    command = _command(commands, "archive", "write one whole record into a file")
    command.add_argument("record", metavar="ID")
    command.add_argument("--out", type=Path, required=True, metavar="FILE.zip")
    _by(command)


def _add_backup(commands: Any) -> None:
    command = _command(commands, "backup", "write the whole store into one file")
    command.add_argument("--out", type=Path, required=True, metavar="FILE")
    _by(command)


def _add_restore(commands: Any) -> None:
    command = _command(commands, "restore", "make a store from a backup")
    command.add_argument("file", type=Path, metavar="FILE")
    _by(command)


def _add_retention(commands: Any) -> None:
    command = _command(commands, "retention", "list records past a period, or take one out")
    command.add_argument("--years", type=int, required=True, metavar="N")
    command.add_argument("--dispose", metavar="ID", help="take this record out")
    command.add_argument("--archive", type=Path, metavar="FILE.zip", help="needed if signed")
    _by(command)


def _add_key(commands: Any) -> None:
    command = _command(commands, "key", "make an inspector's key; asks for its passphrase")
    command.add_argument("--name", required=True)
    command.add_argument("--authorisation", required=True, metavar="NUMBER")
    command.add_argument("--passphrase-file", type=Path, metavar="FILE", help="do not ask")


def _add_account(commands: Any) -> None:
    command = _command(commands, "account", "accounts of those who may sign in to the app")
    work = command.add_subparsers(required=True, metavar="WORK", dest="work")
    add = work.add_parser("add", help="make an account; asks for its password")
    add.add_argument("name", metavar="NAME")
    add.add_argument("--role", required=True, help=_ROLES)
    add.add_argument("--email", default="", help="for sign-in at your organisation")
    role = work.add_parser("role", help="give an account another role")
    role.add_argument("name", metavar="NAME")
    role.add_argument("role", metavar="ROLE", help=_ROLES)
    disable = work.add_parser("disable", help="sign an account out and let it in no more")
    disable.add_argument("name", metavar="NAME")
    disable.add_argument("--undo", action="store_true", help="let it sign in again")
    password = work.add_parser("password", help="give a new password; asks for it")
    password.add_argument("name", metavar="NAME")
    for asking in (add, password):
        asking.add_argument("--password-file", type=Path, metavar="FILE", help="do not ask")
    work.add_parser("list", help="list all accounts")
    _by(command)


def _add_audit(commands: Any) -> None:
    command = _command(commands, "audit", "list who did what, newest first")
    command.add_argument("--record", metavar="ID", help="only what was done to it")


def _add_reindex(commands: Any) -> None:
    _command(commands, "reindex", "make what records are searched by anew")
