"""Signing in: what each role is shown and may do, the routes, and one journey in a browser."""

import asyncio
import os
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from argon2 import PasswordHasher
from playwright.sync_api import Page, expect
from starlette.applications import Starlette
from streamlit.testing.v1 import AppTest

from damagescore import cli
from damagescore.inspection import Inspection, assess_inspection, confirm_finding
from damagescore.limits import demo_limit_set_text, parse_limit_set
from damagescore.records import Store, passwords
from damagescore.records.accounts import accounts, add_account, set_role
from damagescore.records.rights import Role
from damagescore.records.sign_in import ENDS_S, begin, signed_in
from damagescore.training.kept import Library
from damagescore.ui import session
from damagescore.ui.access import COOKIE, PAGE_RIGHTS, request_allowed
from damagescore.ui.accounts import cookie
from damagescore.ui.documents import documents
from damagescore.ui.questions import PREFIX as QUESTIONS
from damagescore.ui.questions import question_route
from damagescore.ui.tiles import PREFIX as TILES
from damagescore.ui.tiles import tile_route
from tests.ui.browser import ROOT, browser, chromium, server
from tests.ui.filled import filled, keep, record
from tests.ui.watch import watch

MAIN = ROOT / "damagescore" / "ui" / "main.py"
RIGHT, WRONG = "four plain words here", "four other words here"
WHO: dict[Role, str] = {
    "administrator": "A. Birk", "inspector": "R. Alder", "trainer": "T. Olin",
    "viewer": "L. Maas",
}  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A data folder with an account of each role; hashing costs as little as it may."""
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path))
    least = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(passwords, "_HASHER", least)
    monkeypatch.setattr("damagescore.ui.access.browser_token", lambda: "")
    monkeypatch.setattr("damagescore.records.sign_in.ANSWER_S", 0.0)
    monkeypatch.setattr(cookie, "PATIENCE_S", 0.0)  # there is no browser to wait for
    with Store(tmp_path) as store:
        for role, name in WHO.items():
            add_account(store, name=name, role=role, password=RIGHT, by="setup")
    passwords._nobodys.cache_clear()
    yield tmp_path
    passwords._nobodys.cache_clear()
    session.desk().close()


@pytest.fixture
def inspection(folder: Path) -> Inspection:
    """A reviewed and assessed record, ready to be signed."""
    made = record()
    for finding in made.photos[0].measurement["findings"]:
        made = confirm_finding(made, made.photos[0].sha256, finding["id"], by="R. Alder")
    made = assess_inspection(made, parse_limit_set(demo_limit_set_text()), by="R. Alder")
    keep(folder, made)
    return made


def _sound(app: AppTest) -> AppTest:
    assert [e.message for e in app.exception] == []
    return app


def _app(role: Role | None = None, *, inspection: Inspection | None = None) -> AppTest:
    app = AppTest.from_file(str(MAIN), default_timeout=60)
    if inspection is not None:
        app.query_params["inspection"] = inspection.id
        app.query_params["step"] = "sign"
    _sound(app.run())
    return app if role is None else _come(app, WHO[role], RIGHT)


def _come(app: AppTest, name: str, password: str) -> AppTest:
    app.text_input(key="sign-in-name").set_value(name)
    app.text_input(key="sign-in-password").set_value(password)
    return _sound(app.button(key="sign-in-go").click().run())


def _keys(app: AppTest) -> set[str]:
    return {b.key for b in app.button if b.key}


def test_whoever_is_not_signed_in_sees_nothing_but_the_question(
    inspection: Inspection,
) -> None:
    app = _app(inspection=inspection)
    assert [t.value for t in app.title] == ["Sign in"]
    _come(app, "R. Alder", WRONG)
    assert "do not fit together" in app.error[0].value
    _come(app, "R. Alder", RIGHT)
    assert app.title[0].value == "HV-2210 · 0117"
    assert not [t for t in app.text_input if t.key == "inspector_name"]


@pytest.mark.parametrize("role", list(WHO))
def test_each_role_sees_the_pages_of_its_rights(folder: Path, role: Role) -> None:
    app = _app(role)
    from damagescore.records.rights import holds  # noqa: PLC0415

    titles = set(app.session_state["pages"])
    shown = {f for f in PAGE_RIGHTS if holds(role, PAGE_RIGHTS[f])}
    assert len(titles) == len(shown)
    assert ("Accounts" in titles) == (role == "administrator")


def test_a_viewer_finds_nothing_to_sign_supersede_or_take_away(
    inspection: Inspection,
) -> None:
    app = _app("viewer", inspection=inspection)
    assert f"sign-{inspection.id}-submit" not in _keys(app)
    assert f"papers-sign-{inspection.id}-button" not in _keys(app)
    assert not app.get("download_button")
    assert [w.disabled for w in app.text_input if w.key and w.key.startswith("sign-")] == []


@pytest.mark.parametrize("role", ["trainer", "administrator"])
def test_only_inspectors_are_offered_to_sign(inspection: Inspection, role: Role) -> None:
    app = _app(role, inspection=inspection)
    assert f"sign-{inspection.id}-submit" not in _keys(app)


def _sign(app: AppTest, inspection: Inspection, *, password: str) -> AppTest:
    key = inspection.id
    app.text_input(key=f"sign-authorisation-{key}").set_value("HV-A-118")
    app.radio(key=f"sign-disposition-{key}").set_value("refer")
    app.text_area(key=f"sign-reason-{key}").set_value("Depth was not probed.")
    app.text_input(key=f"sign-password-{key}").set_value(password)
    return _sound(app.button(key=f"sign-{key}-submit").click().run())


def test_an_inspector_signs_by_the_own_password_and_name_only(
    inspection: Inspection,
) -> None:
    app = _app("inspector", inspection=inspection)
    assert f"sign-name-{inspection.id}" not in {t.key for t in app.text_input}
    _sign(app, inspection, password=WRONG)
    assert "do not fit together" in app.error[0].value
    assert session.store().load(inspection.id).signature is None
    _sign(app, inspection, password=RIGHT)
    signature = session.store().load(inspection.id).signature
    assert signature is not None
    assert signature.name == "R. Alder"
    log = [(e.action, e.by) for e in session.store().audit_log(limit=9)]
    assert ("sign", "R. Alder") in log
    assert ("failed sign-in", "R. Alder") in log


def test_without_a_password_signing_says_how_to_get_one(
    inspection: Inspection, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = add_account(
        session.store(), name="K. Lind", role="inspector", email="k@works.example", by="A. Birk"
    )
    token = begin(session.store(), made, now_s=time.time(), how="provider")
    monkeypatch.setattr("damagescore.ui.access.browser_token", lambda: token)
    app = _app(inspection=inspection)  # the cookie alone signs in, as after a reload
    assert any("you have none" in i.value for i in app.info)
    assert f"sign-{inspection.id}-submit" not in _keys(app)
    assert "sign-out" in _keys(app)


def test_a_role_taken_away_stops_a_change_that_was_offered_before(
    inspection: Inspection, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = _app("inspector", inspection=inspection)
    set_role(session.store(), "R. Alder", "viewer", by="A. Birk")
    monkeypatch.setattr("damagescore.ui.access.TRUSTED_S", 0.0)
    _sound(app.button(key=f"sign-{inspection.id}-submit").click().run())
    assert session.store().load(inspection.id).signature is None
    assert f"sign-{inspection.id}-submit" not in _keys(app)


@pytest.mark.parametrize(("role", "n"), [("viewer", 2), ("inspector", 2), ("trainer", 4)])
def test_library_and_grades_are_for_trainers(folder: Path, role: Role, n: int) -> None:
    app = _app(role)
    _sound(app.switch_page(str(ROOT / "app_pages" / "training.py")).run())
    assert len(app.tabs) == n


def test_a_trainee_practises_and_sees_no_answer_before_committing(
    inspection: Inspection,
) -> None:
    page = str(ROOT / "app_pages" / "training.py")
    trainer = _app("trainer")
    _sound(trainer.switch_page(page).run())
    trainer.selectbox(key="take-grade").select(2)
    trainer.selectbox(key="take-call").select("within")
    trainer.text_input(key="take-provenance").set_value("demo bench")
    trainer.text_input(key="take-permission").set_value("own, any")
    _sound(trainer.button(key="take-go").click().run())
    (entry,) = Library(documents()).entries()
    app = _app("viewer")
    _sound(app.switch_page(page).run())
    _sound(app.button(key="practice-begin").click().run())
    assert app.session_state["practice-draft"].photos[0].measurement["findings"] == []
    assert not any("Agreed grade" in m.value for m in app.markdown)
    app.button_group(key=f"grade-{entry.id}").set_value(4)
    app.button_group(key=f"call-{entry.id}").set_value("within")
    _sound(app.button(key="practice-commit").click().run())
    (answer,) = Library(documents()).answers()
    assert (answer.trainee, answer.grade) == ("L. Maas", 4)
    other = _app("inspector")
    _sound(other.switch_page(page).run())
    assert "record-trainee" not in {s.key for s in other.selectbox}  # others' answers tell


def test_every_file_to_take_away_asks_for_the_right() -> None:
    # Blank cards, boards and check targets to print are no records; papers ask themselves.
    free = {"cards.py", "lenses.py", "check_target.py", "downloads.py", "offer.py"}
    drawn = {
        p.name for p in (ROOT / "damagescore" / "ui").rglob("*.py")
        if "st.download_button(" in p.read_text(encoding="utf-8")
    }  # fmt: skip
    assert drawn == free


def test_signing_out_forgets_what_was_typed(folder: Path) -> None:
    app = _app("inspector")
    app.text_input(key="part_number-new").set_value("HV-3105")
    _sound(app.run())
    _sound(app.button(key="sign-out").click().run())
    assert [t.value for t in app.title] == ["Sign in"]
    assert "part_number-new" not in app.session_state
    assert "sign-in-token" not in app.session_state


def test_an_own_password_is_changed_by_who_knows_the_old_one(folder: Path) -> None:
    app = _app("viewer")
    for old, new, again in ((RIGHT, WRONG, RIGHT), (WRONG, WRONG, WRONG)):
        app.text_input(key="own-password-old").set_value(old)
        app.text_input(key="own-password-new").set_value(new)
        app.text_input(key="own-password-again").set_value(again)
        _sound(app.button(key="own-password-go").click().run())
        assert app.error
    app.text_input(key="own-password-old").set_value(RIGHT)
    _sound(app.button(key="own-password-go").click().run())
    assert not app.error
    assert "sign-out" in _keys(app)
    _come(_app(), "L. Maas", WRONG)


def test_an_administrator_adds_and_changes_accounts(folder: Path) -> None:
    app = _app("administrator")
    _sound(app.switch_page(str(ROOT / "app_pages" / "accounts.py")).run())
    app.text_input(key="account-name").set_value("K. Lind")
    app.text_input(key="account-password").set_value(RIGHT)
    app.text_input(key="account-again").set_value(RIGHT)
    app.selectbox(key="account-role").select("inspector")
    _sound(app.button(key="account-go").click().run())
    assert [e.value for e in app.error] == []
    made = next(a for a in accounts(session.store()) if a.name == "K. Lind")
    assert made.role == "inspector"
    _sound(app.selectbox(key="account-chosen").select("K. Lind").run())
    _sound(app.button(key=f"disable-{made.id}").click().run())
    assert next(a for a in accounts(session.store()) if a.name == "K. Lind").disabled
    own = next(a for a in accounts(session.store()) if a.name == "A. Birk")
    _sound(app.selectbox(key="account-chosen").select("A. Birk").run())
    _sound(app.button(key=f"disable-{own.id}").click().run())
    assert "No administrator would be left" in app.error[0].value


def test_an_open_server_makes_its_first_account_from_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path / "new"))
    monkeypatch.setattr("damagescore.ui.access.browser_token", lambda: "")
    app = _app()
    _sound(app.switch_page(str(ROOT / "app_pages" / "accounts.py")).run())
    app.text_input(key="account-name").set_value("A. Birk")
    app.text_input(key="account-password").set_value(RIGHT)
    app.text_input(key="account-again").set_value(RIGHT)
    _sound(app.button(key="account-go").click().run())
    assert [t.value for t in app.title] == ["Sign in"]
    session.desk().close()


Answer = tuple[int, dict[str, str], bytes]


def _ask(path: str, *, method: str = "GET", body: bytes = b"", **headers: str) -> Answer:
    """Ask the routes of the app as a server would: status, headers, body."""
    routes = [
        tile_route(session.pyramid, allowed=request_allowed),
        question_route(allowed=request_allowed), *cookie.cookie_routes(),
    ]  # fmt: skip
    sent: list[dict[str, Any]] = []
    pieces = [{"type": "http.request", "body": body, "more_body": False}]

    async def receive() -> dict[str, Any]:
        if not pieces:
            await asyncio.Event().wait()  # the browser stays and has nothing more to say
        return pieces.pop()

    async def send(message: Any) -> None:
        sent.append(message)

    path, _, query = path.partition("?")
    scope = {
        "type": "http", "method": method, "path": path, "raw_path": path.encode(),
        "query_string": query.encode(), "http_version": "1.1", "scheme": "http",
        "headers": [(k.replace("_", "-").encode(), v.encode()) for k, v in headers.items()],
        "server": ("localhost", 80), "client": ("localhost", 1), "root_path": "",
    }  # fmt: skip
    asyncio.run(Starlette(routes=routes)(scope, receive, send))
    told = {k.decode(): v.decode() for k, v in sent[0]["headers"]}
    return sent[0]["status"], told, b"".join(m.get("body", b"") for m in sent[1:])


def test_photos_and_questions_ask_for_the_sign_in(inspection: Inspection) -> None:
    sha256 = inspection.photos[0].sha256
    viewer = next(a for a in accounts(session.store()) if a.role == "viewer")
    token = begin(session.store(), viewer, now_s=time.time(), how="password")
    tile = f"{TILES}/{sha256}/0/0_0.jpg"
    base = f"{QUESTIONS}/{inspection.id}/{sha256}"
    for path in (tile, f"{base}/length?at=0,50,100,50", f"{base}/parts?of=00"):
        assert _ask(path)[0] == 403
        assert _ask(path, cookie=f"{COOKIE}=guess")[0] == 403
        assert _ask(path, cookie=f"{COOKIE}={token}")[0] == 200


def test_without_accounts_photos_are_shown_as_before(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DAMAGESCORE_DATA", str(tmp_path / "open"))
    made = filled(tmp_path / "open")
    assert _ask(f"{TILES}/{made.photos[0].sha256}/0/0_0.jpg")[0] == 200


def test_the_cookie_comes_once_for_a_ticket_and_no_script_reads_it(folder: Path) -> None:
    ticket = cookie.tickets().offer("the-token")
    keep_it = {"method": "POST", "body": ticket.encode()}
    assert _ask(cookie.KEEP, **keep_it, sec_fetch_site="cross-site")[0] == 403
    assert not cookie.tickets().wait(ticket, most_s=0.0)
    status, headers, _ = _ask(cookie.KEEP, **keep_it, sec_fetch_site="same-origin")
    assert status == 204
    assert cookie.tickets().wait(ticket, most_s=0.0)
    parts = {p.strip().casefold() for p in headers["set-cookie"].split(";")}
    assert {f"{COOKIE}=the-token", "httponly", "samesite=strict", "path=/"} <= parts
    assert "secure" not in parts
    assert f"max-age={int(ENDS_S)}" in parts
    assert _ask(cookie.KEEP, **keep_it)[0] == 403  # it was good once
    assert _ask(cookie.KEEP, method="POST", body=b"x" * 5000)[0] == 400
    again = cookie.tickets().offer("the-token").encode()
    _, headers, _ = _ask(cookie.KEEP, method="POST", body=again, x_forwarded_proto="https")
    assert "secure" in headers["set-cookie"].casefold()


def test_a_late_ticket_is_worth_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    ticket = cookie.tickets().offer("the-token")
    monkeypatch.setattr(cookie, "GOOD_FOR_S", -1.0)
    assert cookie.tickets().redeem(ticket) is None


def _fill(page: Page, name: str, password: str) -> None:
    page.get_by_role("textbox", name="Name").fill(name)
    page.get_by_role("textbox", name="Password").fill(password)
    page.get_by_role("button", name="Sign in").click()


@pytest.mark.browser
@pytest.mark.skipif(
    chromium() is None and not os.environ.get("CI"), reason="no chromium on this machine"
)
def test_the_first_administrator_comes_stays_over_a_reload_and_leaves(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, secret, faults = tmp_path / "data", tmp_path / "secret", list[str]()
    made = filled(data)
    secret.write_text(RIGHT)
    add = ["account", "--data", str(data), "add", "A. Birk", "--role", "administrator"]
    assert cli.main([*add, "--password-file", str(secret)]) == 0
    with server(data) as address, browser() as chrome:
        page = chrome.new_page()
        page.set_default_timeout(20_000)
        watch(page, faults)
        page.goto(f"{address}/?inspection={made.id}&step=findings")
        _fill(page, "A. Birk", WRONG)
        expect(page.get_by_text("do not fit together")).to_be_visible()
        _fill(page, "A. Birk", RIGHT)
        # To the page of the address, and its photo's parts come at the first attempt.
        expect(page.locator(".stage[data-ready=yes]")).to_be_visible()
        kept = next(c for c in page.context.cookies() if c.get("name") == COOKIE)
        assert (kept.get("httpOnly"), kept.get("sameSite")) == (True, "Strict")
        token = str(kept.get("value"))
        assert token not in page.content()
        page.reload()
        expect(page.get_by_role("button", name="Sign out")).to_be_visible()
        page.get_by_role("button", name="Sign out").click()
        expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
        page.reload()
        expect(page.get_by_role("heading", name="Sign in")).to_be_visible()
        assert not [c for c in page.context.cookies() if c.get("name") == COOKIE]
    assert faults == []
    said = (data / "server.log").read_text(errors="replace") + "".join(capsys.readouterr())
    assert not [s for s in (RIGHT, WRONG, token, "argon2") if s in said]
    with Store(data) as store:
        assert signed_in(store, token, now_s=time.time()) is None
