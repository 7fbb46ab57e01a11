"""The tests of damagescore."""

import damagescore  # noqa: F401 - before NumPy, so that its BLAS has one thread here as well
