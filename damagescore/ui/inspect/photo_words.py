"""What a photo is good for, in words."""

from collections.abc import Mapping
from typing import Any

from damagescore.inspection import state_of
from damagescore.inspection.record import PhotoEntry
from damagescore.orders.job_cards import clock_words
from damagescore.quantity import COVERAGE_FACTOR_95, MM_PER_INCH, Length
from damagescore.ui.words import check_words, method_words

QUALITY_WORDS: Mapping[str, str] = {
    "pass": "Good to judge",
    "warn": "Usable, with a warning",
    "refuse": "Refused: take it again",
}


def worst_outcome(quality: Mapping[str, Any]) -> str:
    """The worst outcome of the checks; what is not usable was refused."""
    outcomes = {c["outcome"] for c in quality["checks"]}
    if not quality["usable"] or "refuse" in outcomes:
        return "refuse"
    return "warn" if "warn" in outcomes else "pass"


def reasons(quality: Mapping[str, Any], *, unit: Length) -> list[str]:
    """What a photo suffers from and what to do; of a refused one only why it was refused."""
    worst = worst_outcome(quality)
    told = [c for c in quality["checks"] if c["outcome"] == worst and worst != "pass"]
    return [check_words(c, unit=unit) for c in told]


def found_words(entry: PhotoEntry) -> str:
    """How many findings a photo has, and how far their review has come."""
    if not entry.measurement["quality"]["usable"]:
        return "Nothing was measured"
    findings = entry.measurement["findings"]
    if not findings:
        return "Looked, no damage found"
    count = f"{len(findings)} findings" if len(findings) > 1 else "1 finding"
    left = sum(state_of(entry, f["id"]) == "proposed" for f in findings)
    return f"{count} · {left} to review" if left else f"{count} · all reviewed"


def scale_words(scale: Mapping[str, Any], *, unit: Length) -> str:
    """One line on the scale of a photo; its uncertainty is relative, k = 1.96."""
    per_px = scale["mm_per_px"] / (MM_PER_INCH if unit == "in" else 1.0)
    spread = 100 * COVERAGE_FACTOR_95 * scale["u_mm_per_px"] / scale["mm_per_px"]
    tilt = "" if scale.get("tilt_deg") is None else f" · tilt {scale['tilt_deg']:.1f}°"
    return (
        f"Scale by {method_words(scale['method']).lower()}: "
        f"{per_px:.4g} {unit} per pixel ± {spread:.2g} %{tilt}"
    )


def limits_words(options: Mapping[str, Any]) -> str:
    """Say what the inspector keeps from being judged; empty where nothing."""
    said = ["Only the region that was drawn is judged."] if options.get("region_px") else []
    n_out = len(options.get("keep_out_px") or ())
    if n_out:
        said.append(f"{n_out} area{' is' if n_out == 1 else 's are'} kept out.")
    return " ".join(said)


def options_words(options: Mapping[str, Any], *, unit: Length, with_scale: bool = True) -> str:
    """How a photo was measured, in a line: view, scale, layers, round edge."""
    scale = options["scale"]
    shown = MM_PER_INCH if unit == "in" else 1.0
    method = {"auto": "own card", "two_points": "two clicked points"}.get(
        scale["kind"], method_words(scale["kind"]).lower()
    )
    size = f" of {scale['size_mm'] / shown:.4g} {unit}" if scale.get("size_mm") else ""
    said = [f"{options['view']} view"]
    said += [f"scale by {method}{size}"] if with_scale else []
    if options.get("n_layers"):
        said.append(f"{options['n_layers']} layers")
    if scale.get("edge_radius_mm"):
        said.append(f"round edge of radius {scale['edge_radius_mm'] / shown:.4g} {unit}")
    if options.get("clock_hours") is not None:
        said.append(f"at {clock_words(options['clock_hours'])}")
    return ", ".join(said)
