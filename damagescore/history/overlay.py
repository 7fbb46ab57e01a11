"""Two registered edges as pictures of one frame, to be looked at in turn."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.damage.record import Finding
from damagescore.history.edge_view import PX_PER_MM, EdgeView
from damagescore.history.register import Registration

Picture = NDArray[np.uint8]

LINE = {"earlier": (63, 127, 181), "later": (201, 120, 31)}
"""RGB of finding lines, the chart's blue and orange."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoViews:
    """Both edges over what both photos show, RGB, of the same shape.

    `start_mm` is the position along the earlier edge at the left side.
    """

    earlier: Picture
    later: Picture
    start_mm: float
    px_per_mm: float = PX_PER_MM


def two_views(
    first: EdgeView,
    second: EdgeView,
    registration: Registration,
    *,
    findings: tuple[tuple[Finding, ...], tuple[Finding, ...]] = ((), ()),
) -> TwoViews:
    """Cut both flat views to their overlap, the second shifted onto the first.

    Each is shown with its own light evened out, as only where things are is compared.
    """
    low, high = registration.overlap_mm
    rows = min(first.grey.shape[0], second.grey.shape[0])
    size = (max(int((high - low) * PX_PER_MM), 2), rows)
    shift = (low - first.start_mm) * PX_PER_MM
    pictures = []
    for view, stretch, start, found, name in (
        (first, 1.0, shift, findings[0], "earlier"),
        (
            second, registration.stretch,
            (float(registration.carry(np.array(low))) - second.start_mm) * PX_PER_MM,
            findings[1], "later",
        ),
    ):  # fmt: skip
        rgb = np.repeat(_shown(view)[..., None], 3, axis=2)
        _draw(rgb, view, found, LINE[name])
        matrix = np.array([[stretch, 0.0, start], [0.0, 1.0, 0.0]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        moved = cv2.warpAffine(rgb, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
        pictures.append(np.asarray(moved, np.uint8))
    return TwoViews(earlier=pictures[0], later=pictures[1], start_mm=low)


def jpeg(picture: Picture) -> bytes:
    """A picture as a JPEG file."""
    bgr = cv2.cvtColor(picture, cv2.COLOR_RGB2BGR)
    _, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, 85])
    return bytes(data.tobytes())


def _shown(view: EdgeView) -> Picture:
    known = view.grey[view.seen] if view.seen.any() else view.grey
    dark, bright = np.percentile(known, [0.5, 99.5])
    level = (view.grey - dark) / max(float(bright - dark), 1.0)
    return np.asarray(255 * np.clip(level, 0, 1) ** 0.7, np.uint8)


def _draw(
    rgb: Picture, view: EdgeView, findings: tuple[Finding, ...], colour: tuple[int, int, int]
) -> None:
    """Draw each finding beside its dark line, not over it (in place)."""
    for finding in findings:
        outlines = finding.lines_px or (
            () if finding.polygon_px is None else (finding.polygon_px,)
        )
        for line in outlines:
            at = (view.place(line) - [view.start_mm, 0.0]) * PX_PER_MM
            points = np.round(at - np.array([0, 4])).astype(np.int32)
            cv2.polylines(rgb, [points], False, colour, 1, cv2.LINE_AA)
