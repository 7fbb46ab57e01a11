"""Mitsuba 3 with the fastest variant that runs here."""

import os
from pathlib import Path

import mitsuba as mi

OLDEST_LLVM = 16  # older ones fail on this renderer's vector code, 15 on some processors


def _llvm_library() -> str | None:
    given = os.environ.get("DRJIT_LIBLLVM_PATH")
    if given:
        return given
    names = [f"libLLVM-{n}.so" for n in range(25, OLDEST_LLVM - 1, -1)]
    names += [f"libLLVM.so.{n}.1" for n in range(25, OLDEST_LLVM - 1, -1)]
    for name in names:
        found = sorted(Path("/usr/lib").glob(f"*/{name}"))
        if found:
            return str(found[0])
    return None


def choose_variant() -> str:
    """LLVM where a library is found (a third of the time), else the scalar variant."""
    library = _llvm_library()
    if library is None:
        mi.set_variant("scalar_rgb")
    else:
        os.environ["DRJIT_LIBLLVM_PATH"] = library
        mi.set_variant("llvm_ad_rgb")
    return str(mi.variant())


choose_variant()
mi.set_log_level(mi.LogLevel.Error)  # a plain upright cylinder warns of shear by rounding
