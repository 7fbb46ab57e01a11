"""Page: printable scale cards."""

import re
import tempfile
from pathlib import Path

import streamlit as st

from damagescore.scale import write_cards
from damagescore.ui.session import told

MIME = {".pdf": "application/pdf", ".svg": "image/svg+xml"}

ADVICE = """
1. Print at **100 %** ("actual size"), never "fit to page", on matt paper.
2. **Measure the printed card** with a rule or calliper: the card names the length to check.
   If it is off by more than 0.1 %, correct the printer's scaling, or choose *Squares of known
   side* when you add the photo and type in the side that you measured.
3. Glue it to something flat and stiff. A bent card reads wrongly.
4. Hold it **in the plane of the rubber edge**, beside the area to judge, square marks facing
   the camera. With the card nearer to the camera than the rubber, damage
   reads too short: give the stand-off when you add the photo.
5. Keep the camera square to the edge, and both card and edge sharp and free of glare.
"""


def cards_page() -> None:
    """Offer the cards as files, with what to mind when printing."""
    st.title("Scale cards")
    st.write(
        "A card in the photo gives the scale. The program finds its square marks by itself; "
        "every length then follows from their known size."
    )
    with told():
        _downloads(card_files())
    st.subheader("Printing and placing")
    st.markdown(ADVICE)
    st.subheader("No card at hand")
    st.write(
        "A graduated rule in the plane of the edge, printed ArUco 4x4 or AprilTag 36h11 "
        "squares of a known side, two black dots a known distance apart, or two points that "
        "you click on the photo serve as well. Each has its own uncertainty, which the "
        "measurement carries."
    )


@st.cache_data(show_spinner=False)
def card_files() -> dict[str, bytes]:
    """Make all cards; file name and content."""
    with tempfile.TemporaryDirectory() as folder:
        paths = sorted(write_cards(Path(folder)))
        return {path.name: path.read_bytes() for path in paths}


def _downloads(files: dict[str, bytes]) -> None:
    page = "scale_cards.pdf"
    st.download_button(
        "All cards on one page, PDF", files[page], file_name=page, mime=MIME[".pdf"],
        key=f"card-{page}", icon=":material/download:", type="primary", on_click="ignore",
    )  # fmt: skip
    with st.container(horizontal=True):
        for name in (n for n in files if n.startswith("card_")):
            st.download_button(
                f"{_words(name)}, SVG", files[name], file_name=name, mime=MIME[".svg"],
                key=f"card-{name}", icon=":material/download:", on_click="ignore",
            )  # fmt: skip


def _words(name: str) -> str:
    words = Path(name).stem.removeprefix("card_").replace("_", " ")
    return re.sub(r"(\d)mm", r"\1 mm", words).capitalize()
