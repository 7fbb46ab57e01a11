"""Page: compare. Parts on one load spectrum side by side, with the ratio of their lives."""

from collections.abc import Mapping, Sequence
from typing import get_args

import streamlit as st

from damagescore.chart import to_svg
from damagescore.chart.endurance import damage_chart, lives_chart
from damagescore.endurance.compare import Comparison, CriterionComparison, compare
from damagescore.endurance.readings import read_readings
from damagescore.endurance.record import ENDING_WORDS, Ending, Specimen
from damagescore.endurance.specimen import specimen_of
from damagescore.endurance.words import group_words, life_words, pair_words
from damagescore.errors import UsageError
from damagescore.follow.same import face_photo
from damagescore.history.lives import Life
from damagescore.history.record import Series
from damagescore.limits import LimitSet
from damagescore.photo import read_photo
from damagescore.report.compare_report import (
    PhotoRow,
    comparison_csv,
    comparison_json,
    comparison_pdf,
)
from damagescore.report.followed import SidePhoto
from damagescore.report.rows import states_of
from damagescore.ui import history_data
from damagescore.ui.drawing import show_svg
from damagescore.ui.limit_choice import choices, load_choice
from damagescore.ui.offer import offer
from damagescore.ui.session import show_flashes, store, told, unit
from damagescore.ui.words import invented_badge

MOST_PARTS = 20


def compare_page() -> None:
    """Draw the page."""
    st.title("Compare")
    show_flashes()
    with told():
        keys, _ = history_data.record_keys()
        lives, _ = history_data.lives(keys, "hours")
        if len(lives) < 2:
            _empty()
            return
        chosen = _chosen(lives)
        if len(chosen) < 2:
            st.info("Choose two parts or more that ran on the same loads.")
            return
        limits = _limits()
        title, spectrum = _titles()
        groups, endings, readings = _said(chosen, limits)
        parts = [
            specimen_of(x, limits, name=n, group=groups[n], ending=endings[n],
                        readings=readings[n])
            for n, x in chosen.items()
        ]  # fmt: skip
        _show(compare(parts, title=title, spectrum=spectrum), chosen)


def _empty() -> None:
    st.info(
        "A comparison needs two parts or more, each inspected at several hours of one test: "
        "the same loads, the same limits. Inspect them with their serial numbers and hours; "
        "this page shows when each reached a limit, and whether one design lasts longer."
    )
    if st.button("Start an inspection", type="primary", key="compare-start"):
        st.switch_page(st.session_state["pages"]["Inspect"])


def _chosen(lives: Sequence[Life]) -> dict[str, Life]:
    named = {x.name if x.number == 1 else f"{x.name}, life {x.number}": x for x in lives}
    names = st.multiselect(
        "Parts", list(named), key="compare-parts", max_selections=MOST_PARTS,
        placeholder="Choose two or more",
    )  # fmt: skip
    return {n: named[n] for n in names}


def _limits() -> LimitSet:
    offered = choices()
    label = st.selectbox("Limits", [c.label for c in offered], key="compare-limits")
    choice = next(c for c in offered if c.label == label)
    if choice.invented:
        invented_badge()
    return load_choice(choice)


def _titles() -> tuple[str, str]:
    first, second = st.columns(2)
    title = first.text_input("Title", key="compare-title", placeholder="Endurance comparison")
    spectrum = second.text_input(
        "Load spectrum", key="compare-spectrum", placeholder="as your test plan names it"
    )
    return title or "Endurance comparison", spectrum


def _said(
    chosen: Mapping[str, Life], limits: LimitSet
) -> tuple[dict[str, str], dict[str, Ending], dict[str, tuple[Series, ...]]]:
    """Group, ending and readings of each part, as the user says."""
    groups: dict[str, str] = {}
    endings: dict[str, Ending] = {}
    readings: dict[str, tuple[Series, ...]] = {}
    with st.expander("Groups, endings and readings", expanded=False):
        for name, life in chosen.items():
            one, two, three = st.columns([2, 2, 3])
            groups[name] = one.text_input(
                f"Group of {name}", value=life.part_number or life.name, key=f"group-{name}"
            )
            endings[name] = two.selectbox(
                f"Ending of {name}", get_args(Ending), key=f"ending-{name}",
                format_func=lambda e: ENDING_WORDS[e],
            )  # fmt: skip
            file = three.file_uploader(
                f"Readings of {name} (CSV)", type="csv", key=f"readings-{name}",
                help="Columns hours, stiffness, stiffness_u, temperature_c.",
            )  # fmt: skip
            readings[name] = ()
            if file is not None:
                readings[name] = read_readings(
                    _text(file.getvalue(), file.name), name=file.name, limits=limits
                )
    return groups, endings, readings


def _text(data: bytes, name: str) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as fault:
        raise UsageError(
            f"{name} is no text in UTF-8.", remedy="Save it as CSV UTF-8."
        ) from fault


def _show(comparison: Comparison, chosen: Mapping[str, Life]) -> None:
    st.caption(
        "That all parts ran on the same loads is your word. Where no difference is shown, none "
        "is proved either."
    )
    shown = [c for c in comparison.criteria if _seen(c, comparison.parts)]
    for criterion in shown:
        with st.container(border=True):
            _criterion(criterion, comparison)
    empty = [c.label.lower() for c in comparison.criteria if c not in shown]
    if empty:
        st.caption(
            f"Looked for and not found, or not measured, in any part: {'; '.join(empty)}."
        )
    _other_series(comparison)
    st.subheader("Photos side by side")
    rows = _photos(chosen)
    _papers(comparison, rows)


def _seen(criterion: CriterionComparison, parts: Sequence[Specimen]) -> bool:
    series = (p.series_named(criterion.id) for p in parts)
    return any(s is not None and s.shows_anything for s in series)


def _criterion(criterion: CriterionComparison, comparison: Comparison) -> None:
    st.markdown(f"**{criterion.label}**")
    if criterion.text:
        st.caption(criterion.text)
    left, right = st.columns([3, 2], gap="large")
    with left:
        chart = damage_chart(comparison.parts, criterion.id, unit=unit())
        show_svg(f"damage-{criterion.id}", to_svg(chart))
        show_svg(f"lives-{criterion.id}", to_svg(lives_chart(criterion)))
    with right:
        for words in (*map(group_words, criterion.groups), *map(pair_words, criterion.pairs)):
            st.markdown(words)
        for item in criterion.lives:
            about = "" if item.estimate is None else f", about {item.estimate:.0f} h by lines"
            st.markdown(f"- {item.part.name}: {life_words(item.life)}{about}")


def _other_series(comparison: Comparison) -> None:
    """Readings without a limit: stiffness, temperature."""
    done = {c.id for c in comparison.criteria}
    wanted = ("stiffness_retention", "temperature")
    for name in wanted:
        having = [
            p for p in comparison.parts
            if name not in done and (s := p.series_named(name)) and s.measured
        ]  # fmt: skip
        if having:
            chart = damage_chart(having, name, unit=unit())
            with st.container(border=True):
                st.markdown(f"**{chart.title}**")
                show_svg(f"damage-{name}", to_svg(chart))


def _photos(chosen: Mapping[str, Life]) -> tuple[PhotoRow, ...]:
    """Photos of all parts nearest to some hours."""
    hours = sorted({i.part.hours or 0.0 for x in chosen.values() for i in x.inspections})
    wanted = st.select_slider(
        "Test hours", hours, value=hours[-1], key="compare-hours",
        format_func=lambda h: f"{h:.0f} h",
    )  # fmt: skip
    if not st.toggle("Show the photos", key="compare-photos"):
        return ()
    photos = [p for n, x in chosen.items() if (p := _nearest(n, x, wanted)) is not None]
    if not photos:
        st.caption("There are no usable face photos.")
        return ()
    for column, photo in zip(_columns(len(photos)), photos, strict=True):
        column.image(photo.rgb, caption=photo.caption, width="stretch")
    return (PhotoRow(hours=wanted, photos=tuple(photos)),)


def _columns(count: int) -> list[st.delta_generator.DeltaGenerator]:
    columns: list[st.delta_generator.DeltaGenerator] = []
    while len(columns) < count:
        columns += st.columns(2)
    return columns[:count]


def _nearest(name: str, life: Life, hours: float) -> SidePhoto | None:
    usable = [i for i in life.inspections if face_photo(i) is not None]
    if not usable:
        return None
    best = min(usable, key=lambda i: abs((i.part.hours or 0.0) - hours))
    entry = face_photo(best)
    assert entry is not None
    photo = read_photo(store().photo_bytes(entry.sha256), name=entry.name)
    return SidePhoto(
        caption=f"{name} at {best.part.hours:.0f} h", rgb=photo.rgb,
        measurement=entry.measurement, states=states_of(entry),
    )  # fmt: skip


def _papers(comparison: Comparison, rows: tuple[PhotoRow, ...]) -> None:
    if not st.button(
        "Write the comparison", key="compare-papers", icon=":material/description:"
    ):
        return
    with st.spinner("Writing the comparison…"):
        pdf = comparison_pdf(comparison, rows=rows, unit=unit())
    files = (
        ("PDF report", pdf, "compare.pdf", "application/pdf"),
        ("JSON", comparison_json(comparison), "compare.json", "application/json"),
        ("CSV", comparison_csv(comparison), "compare.csv", "text/csv"),
    )
    with st.container(horizontal=True):
        for label, data, name, mime in files:
            offer(
                label, data, file_name=name, mime=mime, key=f"compare-{name}",
                icon=":material/download:",
            )  # fmt: skip
