"""A trainee's answers over time."""

from collections.abc import Sequence
from datetime import UTC, datetime
from html import escape

import streamlit as st

from damagescore.training.kept import Library
from damagescore.training.practice import Feedback, Progress
from damagescore.training.summary import NO_CERTIFICATE, summary_pdf, summary_rows
from damagescore.ui.access import allowed
from damagescore.ui.drawing import show_svg
from damagescore.ui.offer import offer


def record_tab(kept: Library, who: str) -> None:
    """Show what one trainee answered, and the summary for the trainer."""
    trainees = sorted({a.trainee for a in kept.answers()})
    if not allowed("library"):  # what others answered tells what the agreed answers are
        trainees = [name for name in trainees if name == who]
    if not trainees:
        st.info("Nobody has practised yet. Every committed answer is kept here, for good.")
        return
    start = trainees.index(who) if who in trainees else 0
    trainee = st.selectbox("Trainee", trainees, index=start, key="record-trainee")
    progress = kept.progress(trainee)
    st.dataframe(
        [{"In all": a, " ": b} for a, b in summary_rows(progress)],
        hide_index=True, width="stretch", height="content",
    )  # fmt: skip
    show_svg("record-chart", progress_svg(progress))
    today = datetime.now(UTC).date().isoformat()
    offer(
        "Summary for the trainer, PDF",
        summary_pdf(progress, trainer=who or "the trainer", made_on=today),
        file_name="practice_summary.pdf", mime="application/pdf", key="record-pdf",
        icon=":material/download:",
    )  # fmt: skip
    st.caption(NO_CERTIFICATE)


WIDTH, HEIGHT, LEFT, BASE = 640, 190, 46, 140


def progress_svg(progress: Progress) -> str:
    """Draw findings found (up), missed (down) and drawn too many (hollow), answer by answer."""
    most = max(_height(f) for f in progress.feedback)
    unit = (BASE - 20) / max(most, 1)
    step = min(26.0, (WIDTH - LEFT - 10) / len(progress.feedback))
    parts = [
        f'<line x1="{LEFT}" x2="{WIDTH - 10}" y1="{BASE}" y2="{BASE}" stroke="currentColor"/>'
    ]
    for k, (at, feedback) in enumerate(
        zip(progress.committed_at, progress.feedback, strict=True)
    ):
        parts.append(
            _bars(feedback, at, x=LEFT + (k + 0.15) * step, width=0.7 * step, unit=unit)
        )
    said = (
        f"{len(progress.feedback)} answers: {progress.found} findings found, {progress.missed} "
        f"missed, {progress.extra} drawn where nothing was agreed"
    )
    legend = (
        "filled: found, hatched: missed, hollow: drawn where nothing was agreed; oldest left"
    )
    return (
        f'<svg role="img" aria-label="{escape(said)}" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'style="width:100%;max-width:{WIDTH}px;color:inherit">'
        '<defs><pattern id="missed" width="5" height="5" patternUnits="userSpaceOnUse">'
        '<path d="M0 5L5 0" stroke="currentColor"/></pattern></defs>'
        f'{"".join(parts)}<text x="{LEFT}" y="{HEIGHT - 8}" font-size="12" '
        f'fill="currentColor">{legend}</text></svg>'
    )


def _height(feedback: Feedback) -> int:
    comparison = feedback.comparison
    return len(comparison.matches) + len(comparison.missed) + len(comparison.extra)


def _bars(feedback: Feedback, at: str, *, x: float, width: float, unit: float) -> str:
    comparison = feedback.comparison
    pieces: Sequence[tuple[int, str]] = (
        (len(comparison.matches), 'fill="currentColor"'),
        (len(comparison.missed), 'fill="url(#missed)" stroke="currentColor"'),
        (len(comparison.extra), 'fill="none" stroke="currentColor"'),
    )
    boxes, top = [], float(BASE)
    for count, style in pieces:
        top -= count * unit
        if count:
            boxes.append(
                f'<rect x="{x:.1f}" y="{top:.1f}" width="{width:.1f}" '
                f'height="{count * unit:.1f}" {style}/>'
            )
    right = "✓" if feedback.right else ""
    return (
        f'<g><title>{escape(at[:16])}</title>{"".join(boxes)}<text x="{x + width / 2:.1f}" '
        f'y="{BASE + 14}" text-anchor="middle" font-size="11" fill="currentColor">'
        f"{right}</text></g>"
    )
