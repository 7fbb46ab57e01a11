"""Page: what the tool is for, what it cannot do, and how it measures."""

import platform
from importlib.metadata import PackageNotFoundError, version

import streamlit as st

from damagescore import __version__
from damagescore.report.words import CAUTIONS
from damagescore.ui.session import data_folder

CAN = """
- Length and greatest width of **cracks**, and the share of the layers along which they run
- Length of **bond gaps** along a shim
- Area of **crumbling**
- Height of **bulges** and depth of recesses, from a profile photo
- Values **measured by hand** (probed depth, free height, stiffness retention), entered with
  the gauge's identity and its uncertainty
"""

CANNOT = """
- The **depth** of a crack, and damage below the surface
- Loss of bond **hidden** behind sound rubber
- Damage outside the photo, under dirt, in glare or deep shadow
- Whether the part may **stay in service**: that is the inspector's decision under the
  approved maintenance data
"""

METHODS = """
- **Scale.** Square marks, a rule, two dots or two points give millimetres per pixel on the
  flat or round edge. Tilt, disagreement of marks and stand-off enter the uncertainty.
- **Quality.** Focus, exposure, glare, resolution and tilt are checked first. A photo that
  cannot be judged is refused with a reason, and its quantities are *not measured*, never 0.
- **Cracks and bond gaps.** Dark, elongated strokes within the rubber are proposed. A trace
  between your clicks follows the darkest way. Length is taken along the centre line.
- **Crumbling.** Rough, dark texture against the sound rubber of the same layer.
- **Bulges.** The outline in profile against a line through the shim edges.
- **Uncertainty.** Root sum of squares of the named sources (JCGM 100:2008). Shown as value ±
  expanded uncertainty, k = 1.96.
- **Decision.** By default as ISO 14253-1:2017: within when the value plus 1.65 u is at or
  below the limit, exceeded when the value less 1.65 u is at or above it, otherwise
  borderline, with the probability of exceeding (JCGM 106:2012). The part's result is its
  worst criterion. The score is the largest usage of any limit × 100; 100 is at the limit.
- **History.** Growth curves weighted by the uncertainty, chosen by AICc; the interval of the
  hours to a limit covers all curves that the points do not contradict, and goes no farther
  ahead than the history goes back. Photos are laid on one another along the layers.
- **Comparison.** The hours at which each part reached a limit lie between two inspections;
  the ratio of lives of two designs comes with its interval, or no difference is shown.
- **Records.** Each change is kept with who, when and why. A signed record cannot be
  changed, only superseded; signed records form a hash chain.
"""

PACKAGES = (
    "streamlit", "numpy", "scipy", "scikit-image", "opencv-python-headless", "SQLAlchemy",
    "reportlab", "pillow",
)  # fmt: skip


def about_page() -> None:
    """Draw the page."""
    st.title("About and cautions")
    st.write(
        "damagescore turns calibrated photos of the exposed rubber edge of a laminated "
        "elastomeric bearing into measured damage, compares it with the removal limits that "
        "you have entered, and keeps a signed record of who decided what."
    )
    st.subheader("Cautions")
    st.warning("\n".join(f"- {text}" for text in CAUTIONS), icon=":material/warning:")
    can, cannot = st.columns(2, gap="large")
    can.subheader("What it measures")
    can.markdown(CAN)
    cannot.subheader("What it cannot see")
    cannot.markdown(CANNOT)
    st.subheader("Methods in brief")
    st.markdown(METHODS)
    st.subheader("Versions and place of data")
    _versions()


def _versions() -> None:
    found = [("damagescore", __version__), ("Python", platform.python_version())]
    for name in PACKAGES:
        try:
            found.append((name, version(name)))
        except PackageNotFoundError:
            found.append((name, "not installed"))
    st.markdown(" · ".join(f"{name} {number}" for name, number in found))
    st.markdown(f"Records and photos are kept in `{data_folder()}`. Nothing is sent anywhere.")
