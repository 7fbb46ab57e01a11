"""Photos of an order: upload many, see them sort themselves, assign the rest by hand."""

import streamlit as st

from damagescore.errors import DamageScoreError
from damagescore.orders.job_cards import clock_words
from damagescore.orders.record import TO_ASSIGN, Order, OrderPhoto, assign
from damagescore.ui.measuring import FILE_KINDS
from damagescore.ui.orders.kept import add_photos, change_order, take_in
from damagescore.ui.orders.listing import hours_of
from damagescore.ui.session import flash, told
from damagescore.ui.thumbnails import thumbnail

THUMB_PX = 320

MOST_SHOWN = 20
"""Photos to assign shown at once; the rest follows as these are done."""


def assigning(order: Order, *, locked: bool) -> None:
    """Draw the upload, what is to be assigned, and where all photos went."""
    st.subheader("Photos")
    if not locked:
        _upload(order)
    waiting = order.to_assign
    if waiting:
        st.markdown(f"**To be assigned: {len(waiting)}**")
        for photo in waiting[:MOST_SHOWN]:
            with st.container(border=True):
                _waiting(order, photo, locked=locked)
        if len(waiting) > MOST_SHOWN:
            st.caption(f"{len(waiting) - MOST_SHOWN} more follow when these are assigned.")
    sorted_ones = [p for p in order.photos if p.part != TO_ASSIGN]
    if sorted_ones:
        _table(order, sorted_ones, locked=locked)
    if locked and not order.photos:
        st.caption("No photo yet.")


def _upload(order: Order) -> None:
    number = st.session_state.get("order-upload-round", 0)
    files = st.file_uploader(
        "Add photos: they sort themselves by job card or file name", type=list(FILE_KINDS),
        accept_multiple_files=True, key=f"order-upload-{order.id}-{number}",
    )  # fmt: skip
    count = len(files or ())
    label = f"Sort {count} photos" if count > 1 else "Sort the photo"
    if not st.button(label, type="primary", key="order-sort", disabled=not files):
        return
    bar = st.progress(0.0, text="Reading job cards…")
    taken = []
    for done, file in enumerate(files or ()):
        bar.progress(done / count, text=f"Reading {file.name} ({done + 1} of {count})")
        try:
            taken.append(take_in(file.name, file.getvalue()))
        except DamageScoreError as fault:
            flash(str(fault), bad=True)
    fault_of_all = add_photos(order.id, taken)
    if fault_of_all is not None:
        flash(str(fault_of_all), bad=True)
    st.session_state["order-upload-round"] = number + 1
    st.rerun()


def _waiting(order: Order, photo: OrderPhoto, *, locked: bool) -> None:
    picture, facts = st.columns([1, 3], gap="medium")
    with picture, told():
        small = thumbnail(photo.sha256, name=photo.name, side_px=THUMB_PX)
        st.image(small, width="stretch", alt=f"Photo {photo.name}")
    with facts:
        st.markdown(f"**{photo.name}**")
        st.caption(photo.reason)
        if not locked:
            _by_hand(order, photo)


def _by_hand(order: Order, photo: OrderPhoto) -> None:
    key = photo.sha256[:16]
    part, clock, view = st.columns([3, 2, 2], vertical_alignment="bottom")
    chosen = part.selectbox(
        "Part", [p.key for p in order.parts], index=None, key=f"assign-{key}",
        placeholder="Choose its part",
    )  # fmt: skip
    place = clock.text_input(
        "Clock position", key=f"clock-{key}", placeholder="round edge only",
        value=clock_words(photo.clock_hours).removesuffix(" o'clock"),
    )  # fmt: skip
    seen = view.segmented_control(
        "View", ["face", "profile"], default=photo.view, required=True, key=f"view-{key}",
        format_func=str.capitalize,
    )  # fmt: skip
    if st.button("Assign", key=f"do-assign-{key}", disabled=chosen is None):
        assert chosen is not None
        with told():
            hours = hours_of(place)
            fault = change_order(
                order.id,
                lambda o: assign(
                    o, photo.sha256, chosen, view="profile" if seen == "profile" else "face",
                    clock_hours=hours[0] if hours else None,
                ),
            )  # fmt: skip
            if fault is not None:
                raise fault
            st.rerun()


def _table(order: Order, photos: list[OrderPhoto], *, locked: bool) -> None:
    with st.expander(f"Sorted: {len(photos)}", icon=":material/checklist:"):
        st.dataframe(
            [
                {
                    "Photo": p.name, "Part": p.part, "Sorted by": p.how,
                    "Clock position": clock_words(p.clock_hours), "View": p.view.capitalize(),
                }
                for p in photos
            ],
            width="stretch", hide_index=True,
        )  # fmt: skip
        if locked:
            return
        by_name = {f"{p.name} ({p.part})": p for p in photos if not _measured(order, p)}
        if not by_name:
            return
        wrong = st.selectbox(
            "Wrong part?", list(by_name), index=None, key="order-take-back",
            placeholder="Choose a photo to assign anew",
        )  # fmt: skip
        if st.button("Take it back", key="order-take-back-do", disabled=wrong is None):
            assert wrong is not None
            fault = change_order(
                order.id, lambda o: assign(o, by_name[wrong].sha256, TO_ASSIGN)
            )
            if fault is not None:
                flash(str(fault), bad=True)
            st.rerun()


def _measured(order: Order, photo: OrderPhoto) -> bool:
    """A photo that went into an inspection is taken out there, with a reason."""
    return bool(order.part_of(photo.part).inspection_id)
