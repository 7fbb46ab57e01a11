"""Page: studies of graders, of measuring and of finding."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import streamlit as st

from damagescore.capability.agreement import statistics_of, words
from damagescore.capability.crossed import CrossedStudy, analyse
from damagescore.capability.csv_tables import (
    GradeTable,
    crossed_plan,
    read_crossed,
    read_grades,
    read_sites,
    sites_csv,
)
from damagescore.capability.curve import Curve
from damagescore.capability.detection import Site, false_calls, hit_miss
from damagescore.capability.numbers import FORMS, bland_altman, intraclass
from damagescore.capability.record import Answer, Estimate, NoEstimate
from damagescore.capability.signal_response import Gates, signal_response
from damagescore.chart import to_svg
from damagescore.errors import StudyError
from damagescore.training.kept import Library
from damagescore.ui.documents import documents, new_id
from damagescore.ui.drawing import show_svg
from damagescore.ui.offer import offer
from damagescore.ui.session import flash, inspector, show_flashes, told
from damagescore.ui.study_charts import (
    components_chart,
    curve_chart,
    difference_chart,
    parts_chart,
)
from damagescore.ui.words import when

CSV_TYPES = ["csv", "txt"]


def studies_page() -> None:
    """Draw the page."""
    st.title("Studies")
    st.write(
        "How well people agree, how well a quantity can be measured again, and what size of "
        "damage is found. Each study reads a CSV file and can be kept."
    )
    with st.container():  # its place stays, so the chosen tab does
        show_flashes()
    agreement, measuring, finding, kept = st.tabs(
        ["Agreement of graders", "Repeatability of measuring", "Detection", "Kept studies"]
    )
    with agreement, told():
        _agreement()
    with measuring, told():
        _measuring()
    with finding, told():
        _finding()
    with kept, told():
        _kept()


def _text(label: str, key: str, example: str) -> str | None:
    """Content of an uploaded CSV file; None before there is one."""
    file = st.file_uploader(label, type=CSV_TYPES, key=key)
    if file is None:
        with st.expander("What the file looks like"):
            st.code(example, language=None)
        return None
    try:
        return file.getvalue().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise StudyError(
            f"The file {file.name!r} is not UTF-8 text.", remedy="Save it as CSV with UTF-8."
        ) from fault


def _keep(kind: Any, key: str, body: dict[str, Any]) -> None:
    with st.form(f"{key}-keep"):
        name = st.text_input("Name of the study", key=f"{key}-name")
        if st.form_submit_button("Keep this study", key=f"{key}-submit"):
            if not inspector() or not name.strip():
                st.error("A kept study needs its name, and yours in the sidebar.")
                return
            documents().add(kind, new_id("study"), {**body, "name": name, "by": inspector()})
            flash(f"The study “{name}” is kept.")
            st.rerun()


# Agreement

GRADES_EXAMPLE = "photo,A. Roe,B. Lund,C. Ode\nphoto 1,2,2,3\nphoto 2,0,1,0\nphoto 3,4,,4"


def _agreement() -> None:
    st.write(
        "One row a photo, one column a grader; leave a cell empty where somebody gave no grade."
    )
    text = _text("Grades or numbers, CSV", "agreement-file", GRADES_EXAMPLE)
    if text is None:
        return
    table = read_grades(text)
    st.caption(f"{len(table.subjects)} subjects, {len(table.graders)} graders")
    what = st.segmented_control(
        "What the cells are", ["Grades of a scale", "Measured numbers"],
        default="Grades of a scale", required=True, key="agreement-what",
    )  # fmt: skip
    rows = _grade_rows(table) if what == "Grades of a scale" else _number_rows(table)
    st.dataframe(
        rows, hide_index=True, width="stretch", height="content",
        # Its long names would push the values out of a narrow screen.
        column_config={"Statistic": st.column_config.TextColumn(width=170)},
    )  # fmt: skip
    if what == "Measured numbers":
        _differences(table)
    st.caption(
        "Words after Altman (1991): poor up to 0.2, fair to 0.4, moderate to 0.6, good to 0.8, "
        "very good above. They say nothing on whether the graders are right."
    )
    _keep("agreement_study", "agreement", {"csv": text, "rows": rows})


def _row(answer: Answer) -> dict[str, str]:
    if isinstance(answer, NoEstimate):
        return {"Statistic": answer.method, "Value": "not determined",
                "95 % interval": "", "In words": answer.reason}  # fmt: skip
    return {
        "Statistic": answer.method,
        "Value": f"{answer.value:.3f}",
        "95 % interval": f"{answer.low:.3f} to {answer.high:.3f}",
        "In words": f"{words(answer.value)} agreement, {answer.n} subjects",
    }


def _grade_rows(table: GradeTable) -> list[dict[str, str]]:
    return [_row(a) for a in statistics_of(table.values)]


def _number_rows(table: GradeTable) -> list[dict[str, str]]:
    return [_row(intraclass(table.values, form=form)) for form in FORMS]


def _differences(table: GradeTable) -> None:
    st.subheader("Two ways of measuring compared")
    left, right = st.columns(2)
    names = list(table.graders)
    one = left.selectbox("First", names, index=0, key="agreement-one")
    two = right.selectbox("Second", names, index=1, key="agreement-two")
    if one == two:
        st.info("Choose two different columns.")
        return
    compared = bland_altman(
        table.values[:, names.index(one)], table.values[:, names.index(two)]
    )
    show_svg("agreement-chart", to_svg(difference_chart(compared, "as measured")))
    st.write(
        f"On average {one} reads {compared.bias.value:+.3g} against {two} (95 % interval "
        f"{compared.bias.low:.3g} to {compared.bias.high:.3g}); 95 % of differences lie "
        f"between {compared.lower.value:.3g} and {compared.upper.value:.3g}."
    )
    if compared.trend_p < 0.05:
        st.warning(
            f"The difference changes with the size (rank correlation {compared.trend:+.2f}): "
            "these limits do not hold over the whole range."
        )


# Repeatability


def _measuring() -> None:
    st.write(
        "Several inspectors measure the same parts several times, without seeing the earlier "
        "values. Take a new photo for each repeat to test the whole process, or use one photo "
        "to test the measuring alone: say which in the name."
    )
    with st.expander("Make a plan to fill in"):
        _plan()
    text = _text(
        "Filled plan, CSV", "measuring-file",
        "part,inspector,repeat,value\nP1,A. Roe,1,12.4\nP1,B. Lund,1,12.1\nP2,A. Roe,1,8.8",
    )  # fmt: skip
    if text is None:
        return
    tolerance = st.number_input(
        "Tolerance in the unit of the values; 0 for none", min_value=0.0, value=0.0,
        key="measuring-tolerance",
        help="The limit, or the width between two limits. Shares of it are 6 sigma.",
    )  # fmt: skip
    table = read_crossed(text)
    study = analyse(table.values, tolerance=tolerance or None)
    st.write(_crossed_words(study))
    show_svg("measuring-components", to_svg(components_chart(study)))
    show_svg("measuring-parts", to_svg(parts_chart(table)))
    st.dataframe(_component_rows(study), hide_index=True, width="stretch", height="content")
    with st.expander("Analysis of variance"):
        st.dataframe(_variance_rows(study), hide_index=True, width="stretch", height="content")
    _keep("crossed_study", "measuring", {"csv": text, "analysis": study.to_dict()})


def _plan() -> None:
    parts, people, repeats = st.columns(3)
    n = parts.number_input("Parts", min_value=2, max_value=100, value=10, key="plan-parts")
    names = people.text_input("Inspectors, with commas", value="A, B, C", key="plan-people")
    r = repeats.number_input("Repeats", min_value=2, max_value=10, value=3, key="plan-repeats")
    who = [name.strip() for name in names.split(",") if name.strip()]
    if len(set(who)) < 2:
        st.error(f"{len(set(who))} inspectors are named. Name two or more, with commas.")
        return
    plan = crossed_plan([f"P{k + 1}" for k in range(n)], who, r, seed=n * 100 + r)
    offer(
        "Plan as CSV, order drawn by lot", plan, file_name="study_plan.csv", mime="text/csv",
        key="plan-download", icon=":material/download:",
    )  # fmt: skip


def _crossed_words(study: CrossedStudy) -> str:
    measuring = study.of("measuring")
    said = (
        f"Measuring makes {measuring.study_variation_percent:.1f} % of the study variation and "
        f"tells {study.categories} groups of parts apart."
    )
    if measuring.tolerance_percent is not None:
        said += (
            f" Six sigma of measuring use {measuring.tolerance_percent:.1f} % of the tolerance."
        )
    if study.pooled:
        said += " Inspectors and parts do not interact (p above 0.25): counted as repeating."
    return said


def _component_rows(study: CrossedStudy) -> list[dict[str, str]]:
    return [
        {
            "Source": c.source,
            "Standard deviation": f"{c.sigma:.4g}",
            "Share of variance": f"{c.contribution_percent:.2f} %",
            "Share of study variation": f"{c.study_variation_percent:.2f} %",
            "Share of tolerance": "" if c.tolerance_percent is None
            else f"{c.tolerance_percent:.2f} %",
        }
        for c in study.components
    ]  # fmt: skip


def _variance_rows(study: CrossedStudy) -> list[dict[str, str]]:
    return [
        {
            "Source": r.source, "Degrees of freedom": str(r.df), "Sum of squares":
            f"{r.squares:.5g}", "Mean square": f"{r.mean_square:.5g}",
            "F": "" if r.f is None else f"{r.f:.4g}", "p": "" if r.p is None else f"{r.p:.3g}",
        }
        for r in study.rows
    ]  # fmt: skip


# Detection


def _finding() -> None:
    st.write(
        "Sites with damage of known size and sites without, each called or not. Only prepared "
        "or rendered sites count: of damage found in service nobody knows what was missed."
    )
    with st.expander("Sites from a trainee's practice"):
        _practised()
    text = _text(
        "Sites, CSV", "finding-file",
        "size_mm,found,signal,origin\n1.5,1,3.2,prepared\n0.4,0,0,prepared\n,0,,prepared",
    )  # fmt: skip
    if text is None:
        return
    sites = read_sites(text)
    way = st.segmented_control(
        "Fit by", ["Found or missed", "Strength of the signal"], default="Found or missed",
        required=True, key="finding-way",
    )  # fmt: skip
    curve = _curve(sites, signal=way != "Found or missed")
    rate = false_calls(sites)
    _finding_words(curve, rate)
    if isinstance(curve, Curve):
        show_svg("finding-chart", to_svg(curve_chart(curve, sites)))
        _keep(
            "detection_study", "finding",
            {"csv": text, "curve": curve.to_dict(), "false_calls": rate.to_dict()},
        )  # fmt: skip


def _practised() -> None:
    """Offer the sites of one trainee's answers as a file."""
    kept = Library(documents())
    trainees = sorted({a.trainee for a in kept.answers()})
    if not trainees:
        st.info("Nobody has practised yet.")
        return
    trainee = st.selectbox("Trainee", trainees, key="finding-trainee")
    sites, left_out = kept.sites_of(trainee)
    if left_out:
        st.caption(
            f"{left_out} answers on photos from service are left out: of them nobody knows "
            "what was missed."
        )
    if not sites:
        st.info("There is no answer on a prepared or rendered photo.")
        return
    offer(
        "Sites, CSV", sites_csv(sites), file_name="sites.csv", mime="text/csv",
        key="finding-sites", icon=":material/download:",
    )  # fmt: skip


def _curve(sites: Sequence[Site], *, signal: bool) -> Curve | NoEstimate:
    if not signal:
        return hit_miss(sites)
    left, middle, right = st.columns(3)
    noise = left.number_input("Noise up to", min_value=0.0, value=0.0, key="gate-noise")
    decision = middle.number_input("Called from", min_value=0.0, value=1.0, key="gate-decision")
    top = right.number_input("Full from; 0: never", min_value=0.0, value=0.0, key="gate-top")
    gates = Gates(decision=decision, noise=noise, saturation=top or np.inf)
    return signal_response(sites, gates=gates)


def _finding_words(curve: Curve | NoEstimate, rate: Answer) -> None:
    if isinstance(curve, NoEstimate):
        st.warning(f"No curve: {curve.reason}.")
    else:
        claim = curve.a90_95_mm
        sure = (
            f"**{claim.value:.3g} mm** with 95 % confidence"
            if isinstance(claim, Estimate)
            else f"with no bound: {claim.reason}"
        )
        st.write(
            f"Damage of {curve.a90_mm:.3g} mm is found with 90 % probability by the best "
            f"estimate, {sure} ({curve.found} of {curve.n} sites found)."
        )
        for remark in curve.remarks:
            st.warning(remark[0].upper() + remark[1:] + ".")
    if isinstance(rate, Estimate):
        st.write(
            f"False calls: {100 * rate.value:.1f} % of {rate.n} sites without damage (95 % "
            f"interval {100 * rate.low:.1f} to {100 * rate.high:.1f} %)."
        )
    else:
        st.write(f"False calls: not known, {rate.reason}.")


# Kept

KINDS: tuple[tuple[Any, str], ...] = (
    ("agreement_study", "Agreement of graders"),
    ("crossed_study", "Repeatability of measuring"),
    ("detection_study", "Detection"),
)


def _kept() -> None:
    empty = True
    for kind, title in KINDS:
        for document in documents().newest(kind):
            empty = False
            with st.container(border=True, horizontal=True, vertical_alignment="center"):
                st.text(f"{document.body['name']}\n{title}, {document.body['by']}, "
                        f"{when(document.at)}")  # fmt: skip
                offer(
                    "Its data, CSV", document.body["csv"], file_name=f"{document.id}.csv",
                    mime="text/csv", key=f"kept-{document.id}",
                )  # fmt: skip
    if empty:
        st.info("No study is kept yet. Read one in and press “Keep this study”.")
