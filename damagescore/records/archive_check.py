"""Check the archive of a record, with nothing but the file."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any
from zipfile import ZipFile

from damagescore.errors import DamageScoreError, RecordError
from damagescore.inspection import inspection_from_dict
from damagescore.inspection.canonical import canonical_json
from damagescore.inspection.seal import BY_KEY, faults_of_seal
from damagescore.records.archive import SCHEMA
from damagescore.records.chain import link_of, sha256_of
from damagescore.records.zips import faults_of_files, member_has, opened, read_json, read_member

MOST_BYTES = 8 * 2**30
"""Of one archive unpacked: some hundred photos of 50 megapixels."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchiveCheck:
    """What looking at an archive gave.

    Parameters
    ----------
    problems : tuple of str
        What is not as it was when the record was signed; empty when all is.
    notes : tuple of str
        What the archive cannot prove.
    record_id : str
    body : str
        The record's text as the archive has it.
    head : str
        Hash of the last link that the archive knows; empty for an unsigned record.
    """

    problems: tuple[str, ...]
    notes: tuple[str, ...]
    record_id: str
    body: str
    head: str


def check_archive(path: Path) -> ArchiveCheck:
    """Check all that an archive holds.

    Raises
    ------
    RecordError
        When the file is no archive, or so damaged that no record can be read from it.
    """
    with opened(path, most_bytes=MOST_BYTES) as given:
        listed = read_json(given, "archive.json")
        if not isinstance(listed, dict) or listed.get("schema") != SCHEMA:
            raise RecordError(f"{path} is not an archive of a record.", remedy="Give one.")
        body, plain = _record(given)
        links, keys = read_json(given, "links.json"), read_json(given, "keys.json")
        problems = [*faults_of_files(given, listed.get("files"), besides="archive.json")]
        problems += _faults_of_record(plain, body, listed=listed)
        problems += _faults_of_photos(given, plain)
        if canonical_json(read_json(given, "limits.json")) != canonical_json(
            plain["limit_set"]
        ):
            problems.append("limits.json differs from the limit set in the record.")
        signature = plain["signature"]
        if signature is not None:
            problems += _faults_of_links(links, plain["id"], body=body)
            problems += _faults_of_key(keys, signature)
    return ArchiveCheck(
        problems=tuple(dict.fromkeys(problems)),
        notes=tuple(_notes(signature)),
        record_id=plain["id"],
        body=body,
        head=links[-1]["link_sha256"] if links and not problems else "",
    )


def _record(given: ZipFile) -> tuple[str, dict[str, Any]]:
    try:
        body = read_member(given, "record.json").decode()
        plain = json.loads(body, parse_constant=_no_number)
        inspection_from_dict(plain)
    except (ValueError, RecursionError, DamageScoreError) as fault:
        raise RecordError(
            f"The record in {given.filename} cannot be read: {str(fault)[:120]}",
            remedy="Take another copy of the archive.",
        ) from fault
    return body, plain


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is no number of a record")


def _faults_of_record(
    plain: Mapping[str, Any], body: str, *, listed: Mapping[str, Any]
) -> Iterator[str]:
    if listed.get("record") != plain["id"]:
        yield f"archive.json names record {listed.get('record')!r}, not {plain['id']}."
    signature = plain["signature"]
    if signature is None:
        return
    yield from (f"Record {plain['id']}: {fault}." for fault in faults_of_seal(plain))
    if signature.get("method") and canonical_json(plain) != body:
        yield f"Record {plain['id']} is not written by RFC 8785."


def _faults_of_photos(given: ZipFile, plain: Mapping[str, Any]) -> Iterator[str]:
    names = set(given.namelist())
    for number, photo in enumerate(plain["photos"], start=1):
        name = f"photos/{photo['sha256']}"
        label = f"Photo {number} ({photo['name']})"
        if name not in names:
            yield f"{label} is missing."
        elif not member_has(given, name, photo["sha256"]):
            yield f"{label} was altered."


def _faults_of_links(links: Any, record_id: str, *, body: str) -> Iterator[str]:
    if not _are_links(links):
        yield "links.json does not hold links."
        return
    first = links[0]
    if first["inspection_id"] != record_id or first["body_sha256"] != sha256_of(body):
        yield f"Record {record_id} was altered: its link has another hash."
    for link in links:
        if link["link_sha256"] != _hash_of(link):
            yield f"Link {link['position']} was altered."
    for before, after in pairwise(links):
        follows = after["previous_sha256"] == before["link_sha256"]
        if not follows or after["position"] != before["position"] + 1:
            yield f"Link {after['position']} does not follow from the one before it."


def _are_links(links: Any) -> bool:
    texts = ("inspection_id", "body_sha256", "previous_sha256", "link_sha256")
    return (
        isinstance(links, list)
        and bool(links)
        and all(isinstance(x, dict) and isinstance(x.get("position"), int) for x in links)
        and all(isinstance(x.get(name), str) for x in links for name in texts)
    )


def _hash_of(link: Mapping[str, Any]) -> str:
    return link_of(
        position=link["position"],
        inspection_id=link["inspection_id"],
        body_sha256=link["body_sha256"],
        previous=link["previous_sha256"],
    )


def _faults_of_key(keys: Any, signature: Mapping[str, Any]) -> Iterator[str]:
    if signature.get("method") != BY_KEY:
        return
    known: Sequence[Any] = keys if isinstance(keys, list) else ()
    named = [k for k in known if isinstance(k, dict) and k.get("name") == signature["name"]]
    if not any(k.get("public_key") == signature["public_key"] for k in named):
        yield f"keys.json does not have the key of {signature['name']}."


def _notes(signature: Mapping[str, Any] | None) -> Iterator[str]:
    yield "The papers are for reading; what is proven is the record, its photos and its limits."
    if signature is None:
        yield "The record is not signed: it is a draft."
    elif signature.get("method") == BY_KEY:
        yield (
            f"It is sealed with the key {signature['public_key']}; compare it with the key "
            f"that {signature['name']} is known by."
        )
    else:
        yield "The record is signed by name only."
