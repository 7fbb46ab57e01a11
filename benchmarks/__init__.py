"""Figures of accuracy and speed; every table in the README comes from here."""

import damagescore  # noqa: F401 - before NumPy, so that its BLAS has one thread here as well
