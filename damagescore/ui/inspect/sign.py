"""Step 6: the inspector's decision, and the papers."""

import streamlit as st

from damagescore.inspection.record import Disposition, Inspection
from damagescore.limits import Assessment, LimitSet
from damagescore.ui.access import allowed, visitor
from damagescore.ui.camera_checks import camera_standings
from damagescore.ui.downloads import downloads
from damagescore.ui.edits import sign
from damagescore.ui.inspect.criteria import result_rows
from damagescore.ui.inspect.limits import summary
from damagescore.ui.keys import has_key, key_box
from damagescore.ui.session import flash, inspector, store, told
from damagescore.ui.supersede import supersede_box
from damagescore.ui.words import as_it_is, disposition_words, when

DISPOSITIONS: tuple[Disposition, ...] = ("continue_in_service", "reinspect", "refer", "remove")

STATEMENT = (
    "I have inspected this part under the approved maintenance data and reviewed the "
    "findings in this record."
)


def sign_step(inspection: Inspection, *, locked: bool) -> None:
    """Sign an inspection, or show who signed it; offer the papers."""
    st.subheader("Sign")
    with told():
        if inspection.signature is None:
            _unsigned(inspection, locked=locked)
        else:
            _signed(inspection)
        st.markdown("#### Papers")
        if inspection.signature is None:
            st.caption("Not signed yet: the papers say so on every page.")
        downloads(inspection)
        if inspection.signature is not None:
            supersede_box(inspection)


def open_points(inspection: Inspection) -> list[str]:
    """What a careful inspector would still do before signing."""
    points = []
    if not inspection.part.part_number and not inspection.part.serial_number:
        points.append("The part has neither a part number nor a serial number.")
    if not inspection.photos and not inspection.hand:
        points.append("There is neither a photo nor a hand measurement.")
    refused = [p for p in inspection.photos if not p.measurement["quality"]["usable"]]
    if refused:
        points.append(f"Photos that were refused and prove nothing: {len(refused)}.")
    for camera, found in camera_standings(inspection).items():
        if found.state != "valid":
            points.append(f"{camera[:1].upper()}{camera[1:]}: {found.words}")
    if inspection.assessment is None:
        points.append("The findings were not compared with any limits.")
    else:
        proposed = Assessment.from_dict(inspection.assessment).n_proposed
        if proposed:
            points.append(f"Proposed findings that nobody reviewed: {proposed}.")
    return points


def _unsigned(inspection: Inspection, *, locked: bool) -> None:
    _result(inspection)
    points = open_points(inspection)
    if points:
        st.warning(
            "**Before you sign**\n" + "\n".join(f"- {p}" for p in points),
            icon=":material/checklist:",
        )
    if not locked and not allowed("sign"):
        st.caption("Your role does not sign records.")
    elif not locked and _without_password():
        st.info(
            "Signing asks for a password of yours, and you have none, since your organisation "
            "signs you in. An administrator gives you one on the page *Accounts*."
        )
    elif not locked:
        _form(inspection)
        key_box(inspection.id, name=inspector())


def _result(inspection: Inspection) -> None:
    if inspection.assessment is None or inspection.limit_set is None:
        return
    assessment = Assessment.from_dict(inspection.assessment)
    summary(assessment)
    guard = LimitSet.from_dict(inspection.limit_set).decision.guard_factor
    st.html(result_rows(assessment.results, guard_factor=guard))


def _form(inspection: Inspection) -> None:
    key = inspection.id
    with st.form(f"sign-{key}"):
        left, right = st.columns(2)
        own = not visitor().open
        name = inspector()
        if own:
            left.markdown(f"Name  \n**{as_it_is(name)}**")
        else:
            name = left.text_input("Name", value=name, key=f"sign-name-{key}")
        authorisation = right.text_input(
            "Authorisation number", key=f"sign-authorisation-{key}"
        )
        disposition = st.radio(
            "Decision on the part", DISPOSITIONS, index=None, horizontal=True,
            format_func=disposition_words, key=f"sign-disposition-{key}",
        )  # fmt: skip
        statement = st.text_area("Statement", value=STATEMENT, key=f"sign-statement-{key}")
        reason = st.text_area(
            "Reason, where the decision differs from the result", key=f"sign-reason-{key}",
            placeholder="Needed when the decision is milder or stricter than the result above",
        )  # fmt: skip
        certificate = _certificate(key)
        passphrase = _passphrase(key)
        password = _password(key) if own else ""
        st.caption("Signing locks the record. It can be superseded, never changed.")
        sent = st.form_submit_button(
            "Sign the record", type="primary", key=f"sign-{key}-submit"
        )
    if not sent:
        return
    if disposition is None:
        st.error("The decision on the part is missing. Choose one.", icon=":material/error:")
        return
    fault = sign(
        inspection.id, name=name, authorisation=authorisation, statement=statement,
        disposition=disposition, reason=reason, certificate=certificate,
        passphrase=passphrase, password=password,
    )  # fmt: skip
    if fault is not None:
        st.error(str(fault), icon=":material/error:")
        return
    flash(f"Signed by {name.strip()}. The record is locked.")
    st.rerun()


def _certificate(key: str) -> tuple[str, str]:
    left, right = st.columns(2)
    number = left.text_input(
        "Certificate number, where your rules ask for it", key=f"sign-certificate-{key}"
    )
    kind = right.text_input("Kind of certificate", key=f"sign-certificate-kind-{key}")
    return number, kind


def _passphrase(key: str) -> str:
    if not has_key(inspector()):
        st.caption("You have no key yet: the record will be signed by name only.")
        return ""
    return st.text_input(
        "Passphrase of your key", type="password", key=f"sign-passphrase-{key}",
        help="Leave it empty to sign by name only.",
    )  # fmt: skip


def _without_password() -> bool:
    account = visitor().account
    return account is not None and not account.has_password


def _password(key: str) -> str:
    return st.text_input(
        "Your password again", type="password", key=f"sign-password-{key}",
        autocomplete="current-password", help="So that nobody signs at a screen you left.",
    )  # fmt: skip


def _signed(inspection: Inspection) -> None:
    signature = inspection.signature
    assert signature is not None
    with st.container(border=True):
        st.badge("✓ Signed", color="green")
        st.markdown(f"### {disposition_words(signature.disposition)}")
        st.markdown(
            f"**{signature.name}**, authorisation {signature.authorisation}, "
            f"{when(signature.at)}"
        )
        if signature.certificate_number or signature.certificate_kind:
            words = (signature.certificate_kind, signature.certificate_number)
            st.markdown(f"Certificate: {' '.join(words).strip()}")
        st.markdown(signature.statement)
        if signature.reason:
            st.markdown(f"Reason: {signature.reason}")
        if signature.public_key:
            st.caption(f"Sealed with the key {signature.public_key}")
        else:
            st.caption("Signed by name only: there is no key behind this signature.")
        st.caption(f"Hash of the content: {signature.content_sha256}")
        st.caption(f"Last link of the chain of signed records: {store().chain_head()}")
    _result(inspection)
