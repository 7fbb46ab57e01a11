"""Accounts, passwords, waiting times, sign-ins, and the table of rights."""

import base64
import json
import re
import time
import zipfile
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from cryptography.exceptions import InvalidKey
from cryptography.hazmat.primitives.kdf.argon2 import Argon2id

from damagescore import cli
from damagescore.errors import RecordError, SignInError
from damagescore.records import Store, passwords
from damagescore.records.accounts import (
    accounts,
    add_account,
    has_accounts,
    let_unknown_view,
    set_disabled,
    set_email,
    set_password,
    set_role,
)
from damagescore.records.backup import write_backup
from damagescore.records.passwords import hashed, matches
from damagescore.records.rights import RIGHTS, ROLES, holds
from damagescore.records.sign_in import (
    ENDS_S,
    FREE_TRIES,
    IDLE_S,
    LONGEST_WAIT_S,
    account_of_claims,
    begin,
    check_password,
    is_fresh,
    sign_in,
    sign_out,
    signed_in,
)
from damagescore.ui.access import PAGE_RIGHTS
from tests.ui.browser import ROOT

RIGHT, WRONG = "four plain words here", "four other words here"
T0 = 2_000_000_000.0


@pytest.fixture
def cheap(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Argon2id at its least cost, so that many tries take no time."""
    least = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passwords, "_HASHER", least)
    monkeypatch.setattr("damagescore.records.sign_in.ANSWER_S", 0.0)
    passwords._nobodys.cache_clear()
    yield
    passwords._nobodys.cache_clear()


@pytest.fixture
def staffed(store: Store, cheap: None) -> Store:
    """An administrator and an inspector, on both databases."""
    add_account(store, name="A. Birk", role="administrator", password=RIGHT, by="setup")
    add_account(store, name="R. Alder", role="inspector", password=RIGHT,
                email="R.Alder@works.example", by="A. Birk")  # fmt: skip
    return store


def test_another_implementation_of_argon2id_takes_the_hash() -> None:
    # OpenSSL's Argon2id (RFC 9106), by the package cryptography, is independent of argon2-cffi.
    kept = hashed(RIGHT)
    head = re.fullmatch(r"\$argon2id\$v=19\$m=(\d+),t=(\d+),p=(\d+)\$([^$]+)\$([^$]+)", kept)
    assert head is not None
    # RFC 9106, section 4, second recommended option: t=3, 64 MiB, 4 lanes, salt 128 bits,
    # tag 256 bits (from memory).
    assert [int(x) for x in head.groups()[:3]] == [65536, 3, 4]
    salt, tag = (base64.b64decode(x + "=" * (-len(x) % 4)) for x in head.groups()[3:])
    assert (len(salt), len(tag)) == (16, 32)

    def again() -> Argon2id:
        return Argon2id(salt=salt, length=32, iterations=3, lanes=4, memory_cost=65536)

    again().verify(RIGHT.encode(), tag)
    with pytest.raises(InvalidKey):
        again().verify(WRONG.encode(), tag)


def test_a_password_has_a_salt_of_its_own_and_any_unicode_form() -> None:
    kept = hashed("éclair plateau neuf")
    assert hashed("éclair plateau neuf") != kept
    assert matches("e\u0301clair plateau neuf", kept)
    assert not matches("eclair plateau neuf", kept)
    assert not matches("", "")


@pytest.mark.parametrize("password", ["", "short", "x" * 257])
def test_a_password_too_short_or_too_long_is_refused(password: str) -> None:
    with pytest.raises(RecordError, match=f"has {len(password)} characters") as told:
        hashed(password)
    assert not password or password not in str(told.value)


def test_the_first_account_is_an_administrator_and_one_always_stays(
    store: Store, cheap: None
) -> None:
    with pytest.raises(RecordError, match="nobody could make a second"):
        add_account(store, name="R. Alder", role="inspector", password=RIGHT, by="x")
    assert not has_accounts(store)
    add_account(store, name="A. Birk", role="administrator", password=RIGHT, by="x")
    with pytest.raises(RecordError, match="No administrator would be left"):
        set_role(store, "A. Birk", "viewer", by="x")
    with pytest.raises(RecordError, match="No administrator would be left"):
        set_disabled(store, "a. birk", True, by="x")
    assert [(a.role, a.disabled) for a in accounts(store)] == [("administrator", False)]


def test_names_and_e_mails_are_taken_once(staffed: Store) -> None:
    with pytest.raises(RecordError, match="There is an account"):
        add_account(staffed, name=" r.  ALDER", role="viewer", password=RIGHT, by="x")
    with pytest.raises(RecordError, match="has the e-mail"):
        set_email(staffed, "A. Birk", "r.alder@works.example", by="x")
    with pytest.raises(RecordError, match="neither a password nor an e-mail"):
        add_account(staffed, name="L. Maas", role="viewer", by="x")
    with pytest.raises(RecordError, match="The role is 'chief'"):
        set_role(staffed, "R. Alder", "chief", by="x")


def test_unknown_disabled_and_wrong_are_told_alike(staffed: Store) -> None:
    add_account(staffed, name="L. Maas", role="viewer", password=RIGHT, by="x")
    set_disabled(staffed, "L. Maas", True, by="x")
    tries = [("Nobody", RIGHT), ("R. Alder", WRONG), ("L. Maas", RIGHT)]
    told = []
    for k in range(FREE_TRIES + 1):
        for name, password in tries:
            with pytest.raises(SignInError) as fault:
                sign_in(staffed, name, password, now_s=T0 + k)
            told.append(str(fault.value))
    assert len(set(told)) == 1
    for name, _ in tries:  # and all three have to wait now, the right password or not
        with pytest.raises(SignInError, match="wait 14 s"):
            sign_in(staffed, name, RIGHT, now_s=T0 + FREE_TRIES + 1)


def test_an_unknown_name_is_hashed_as_often_as_a_known_one(
    staffed: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Timing on a shared machine is noisy, so the costly steps are counted.
    real, seen = passwords._HASHER, []

    class Counting:
        def verify(self, hash_: str, password: str) -> bool:
            seen.append(hash_.split("$")[1:4])
            return real.verify(hash_, password)

    matches("warm", "")
    monkeypatch.setattr(passwords, "_HASHER", Counting())
    for name in ("Nobody", "R. Alder"):
        with pytest.raises(SignInError):
            sign_in(staffed, name, WRONG, now_s=T0)
    assert len(seen) == 2
    assert seen[0] == seen[1]


@pytest.mark.parametrize("name", ["Nobody", "R. Alder"])
def test_a_refusal_comes_no_sooner_for_any_name(
    staffed: Store, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setattr("damagescore.records.sign_in.ANSWER_S", 0.2)
    for _ in range(2):  # the second one of an unknown name is not written into the log
        began = time.monotonic()
        with pytest.raises(SignInError):
            sign_in(staffed, name, WRONG, now_s=T0)
        assert time.monotonic() - began >= 0.2


def test_waits_double_to_a_quarter_of_an_hour_and_end(staffed: Store) -> None:
    now, waits = T0, []
    for _ in range(14):
        with pytest.raises(SignInError):
            check_password(staffed, "R. Alder", WRONG, now_s=now)
        with pytest.raises(SignInError) as fault:
            check_password(staffed, "R. Alder", WRONG, now_s=now)
        wait = re.search(r"wait (\d+) s", str(fault.value))
        if wait is not None:
            waits.append(float(wait[1]))
            now += waits[-1]
    assert waits[:4] == [15.0, 30.0, 60.0, 120.0]
    assert max(waits) == waits[-1] == LONGEST_WAIT_S
    now += LONGEST_WAIT_S
    assert check_password(staffed, "R. Alder", RIGHT, now_s=now).name == "R. Alder"
    for _ in range(FREE_TRIES):  # counted from the start again
        with pytest.raises(SignInError, match="do not fit"):
            check_password(staffed, "R. Alder", WRONG, now_s=now)


def test_a_new_password_ends_the_wait_and_every_sign_in(staffed: Store) -> None:
    _, token = sign_in(staffed, "R. Alder", RIGHT, now_s=T0)
    for _ in range(FREE_TRIES + 1):
        with pytest.raises(SignInError):
            sign_in(staffed, "R. Alder", WRONG, now_s=T0)
    set_password(staffed, "R. Alder", WRONG, by="A. Birk")
    assert signed_in(staffed, token, now_s=T0) is None
    sign_in(staffed, "R. Alder", WRONG, now_s=T0)


def test_a_sign_in_ends_by_time_idleness_hand_and_disabling(staffed: Store) -> None:
    account, token = sign_in(staffed, "R. Alder", RIGHT, now_s=T0)
    assert signed_in(staffed, token, now_s=T0 + IDLE_S - 1) == account
    # Looked at since, so the hour counts anew; a shift ends it all the same.
    now = T0
    while now + 0.9 * IDLE_S < T0 + ENDS_S:
        now += 0.9 * IDLE_S
        assert signed_in(staffed, token, now_s=now) == account
    assert signed_in(staffed, token, now_s=T0 + ENDS_S) is None
    other = begin(staffed, account, now_s=T0, how="password")
    assert signed_in(staffed, other, now_s=T0 + IDLE_S) is None
    third = begin(staffed, account, now_s=T0, how="password")
    sign_out(staffed, third)
    assert signed_in(staffed, third, now_s=T0) is None
    fourth = begin(staffed, account, now_s=T0, how="password")
    set_role(staffed, "R. Alder", "viewer", by="A. Birk")
    seen = signed_in(staffed, fourth, now_s=T0)
    assert seen is not None
    assert seen.role == "viewer"  # at once
    set_disabled(staffed, "R. Alder", True, by="A. Birk")
    assert signed_in(staffed, fourth, now_s=T0) is None
    assert signed_in(staffed, "guess", now_s=T0) is None


def test_a_provider_is_believed_for_e_mails_it_vouches_for(staffed: Store) -> None:
    claims = {"email": "R.ALDER@works.example", "email_verified": True, "iat": T0}
    assert account_of_claims(staffed, claims).name == "R. Alder"
    assert is_fresh(claims, now_s=T0 + 100)
    assert not is_fresh(claims, now_s=T0 + 1000)
    assert not is_fresh({}, now_s=T0)
    for given in ({**claims, "email_verified": False}, {"email": "r.alder@works.example"}, {}):
        with pytest.raises(SignInError, match="no e-mail that it vouches for"):
            account_of_claims(staffed, given)
    stranger = {"email": "new@works.example", "email_verified": True}
    with pytest.raises(SignInError, match=r"No account has the e-mail new@works\.example"):
        account_of_claims(staffed, stranger)
    let_unknown_view(staffed, True, by="A. Birk")
    assert account_of_claims(staffed, stranger).role == "viewer"
    assert account_of_claims(staffed, stranger).name == "new@works.example"
    set_disabled(staffed, "new@works.example", True, by="A. Birk")
    with pytest.raises(SignInError, match="is disabled"):
        account_of_claims(staffed, stranger)


def test_the_log_tells_who_came_and_who_failed_and_no_secret(staffed: Store) -> None:
    _, token = sign_in(staffed, "R. Alder", RIGHT, now_s=T0)
    for name in ("R. Alder", RIGHT, RIGHT + "!"):  # a password typed as a name, too
        with pytest.raises(SignInError):
            sign_in(staffed, name, WRONG, now_s=T0)
    set_role(staffed, "R. Alder", "trainer", by="A. Birk")
    sign_out(staffed, token)
    log = staffed.audit_log()
    told = [(e.action, e.target, e.by) for e in log]
    assert told.count(("failed sign-in", "R. Alder", "R. Alder")) == 1
    # Guessed names are noted once in a minute; the clock may turn to the next one meanwhile.
    assert 1 <= told.count(("failed sign-in", "a name without an account", "")) <= 2
    assert ("role", "R. Alder", "A. Birk") in told
    assert told[0] == ("sign out", "R. Alder", "R. Alder")
    text = json.dumps([str(e) for e in log])
    assert not [s for s in (RIGHT, WRONG, token, "argon2") if s in text]
    assert staffed.verify() == []


def test_a_backup_holds_hashes_but_nobody_who_is_signed_in(
    staffed: Store, tmp_path: Path
) -> None:
    _, token = sign_in(staffed, "R. Alder", RIGHT, now_s=T0)
    write_backup(staffed, tmp_path / "b.zip", by="A. Birk")
    with zipfile.ZipFile(tmp_path / "b.zip") as made:
        content = b"".join(made.read(name) for name in made.namelist())
    for secret in (RIGHT, token, sha256(token.encode()).hexdigest()):
        assert secret.encode() not in content
    assert b"$argon2id$" in content  # as docs/records.md says


def test_every_page_and_role_is_in_the_tables() -> None:
    files = {p.name for p in (ROOT / "app_pages").glob("*.py")}
    assert set(PAGE_RIGHTS) == files
    assert set(PAGE_RIGHTS.values()) <= set(RIGHTS)
    assert all(holders for holders in RIGHTS.values())
    assert {r for holders in RIGHTS.values() for r in holders} == set(ROLES)


def test_rights_are_those_of_the_documents() -> None:
    text = (ROOT / "docs" / "records.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\w+)` \|[^|]*\|(.*)\|$", text, flags=re.MULTILINE)
    told = {name: [c.strip() == "yes" for c in cells.split("|")] for name, cells in rows}
    assert told == {r: [holds(role, r) for role in ROLES] for r in RIGHTS}


def test_only_inspectors_sign_and_only_administrators_keep_accounts() -> None:
    assert RIGHTS["sign"] == RIGHTS["supersede"] == {"inspector"}
    assert RIGHTS["accounts"] == {"administrator"}
    assert not holds("viewer", "library")


def test_accounts_by_command(
    tmp_path: Path, cheap: None, capsys: pytest.CaptureFixture[str]
) -> None:
    data, secret = tmp_path / "data", tmp_path / "secret"
    secret.write_text(RIGHT + "\n")
    base = ["account", "--data", str(data)]
    first = [*base, "add", "A. Birk", "--password-file", str(secret), "--role"]
    assert cli.main([*first, "viewer"]) == 3
    assert cli.main([*first, "administrator"]) == 0
    assert (
        cli.main([*base, "add", "L. Maas", "--role", "viewer", "--email", "l@x.example"]) == 0
    )
    assert cli.main([*base, "role", "L. Maas", "trainer"]) == 0
    assert cli.main([*base, "password", "L. Maas", "--password-file", str(secret)]) == 0
    assert cli.main([*base, "disable", "L. Maas"]) == 0
    assert cli.main([*base, "disable", "A. Birk"]) == 3
    assert cli.main([*base, "list"]) == 0
    out, err = capsys.readouterr()
    assert "L. Maas  trainer  disabled  l@x.example" in out
    assert "No administrator would be left." in err
    assert RIGHT not in out + err
    assert "argon2" not in out + err
    with Store(data) as store:
        assert check_password(store, "A. Birk", RIGHT, now_s=T0).role == "administrator"
