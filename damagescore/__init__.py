"""Measure damage on the exposed edge of laminated elastomeric bearings from photos."""

import os

__version__ = "0.1.0"

# The matrices here are small. Threads of BLAS gain nothing on them, spin on the core that
# the other half of a photo needs (`side_by_side`), and sum in other parts on every number of
# cores. NumPy reads this once, when it is first imported; processes begun from here inherit it.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
