"""Still frames sampled from a video of a part on test."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from damagescore.errors import PhotoError, UsageError

MOST_FRAMES = 60
TRIED_AROUND = 5
"""Of so many neighbours the sharpest is taken: a moving part blurs some of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One still of a video; `share` is its place from 0 (first) to 1 (last)."""

    share: float
    image: NDArray[np.uint8]

    def to_png(self) -> bytes:
        """The frame as a PNG file, without further loss."""
        _, data = cv2.imencode(".png", self.image)
        return bytes(data.tobytes())


def sample_frames(path: Path, count: int) -> Iterator[Frame]:
    """Give `count` frames evenly over a video, each the sharpest of five neighbours.

    Parameters
    ----------
    path : Path
    count : int
        1 to 60; one frame is the first.

    Yields
    ------
    Frame
        BGR, as OpenCV reads it.

    Raises
    ------
    UsageError
        When the count is out of range, or larger than the video.
    PhotoError
        When the file is no video that can be read.
    """
    if not 1 <= count <= MOST_FRAMES:
        raise UsageError(
            f"{count} frames are asked for.", remedy=f"Give a number from 1 to {MOST_FRAMES}."
        )
    video = cv2.VideoCapture(str(path))
    try:
        length = int(video.get(cv2.CAP_PROP_FRAME_COUNT)) if video.isOpened() else 0
        if length < 1:
            raise PhotoError(
                f"{path.name} cannot be read as a video.",
                remedy="Give a file that OpenCV reads, for instance MP4 or AVI.",
            )
        if count > length:
            raise UsageError(
                f"{path.name} has {length} frames, and {count} are asked for.",
                remedy="Ask for fewer.",
            )
        for number in range(count):
            share = number / (count - 1) if count > 1 else 0.0
            yield Frame(share=share, image=_sharpest(video, round(share * (length - 1)), path))
    finally:
        video.release()


def _sharpest(video: cv2.VideoCapture, place: int, path: Path) -> NDArray[np.uint8]:
    best: NDArray[np.uint8] | None = None
    most = -1.0
    video.set(cv2.CAP_PROP_POS_FRAMES, max(place - TRIED_AROUND // 2, 0))
    for _ in range(TRIED_AROUND):
        done, image = video.read()
        if not done:
            break
        edges = float(cv2.Laplacian(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), cv2.CV_32F).var())
        if edges > most:
            best, most = np.asarray(image, np.uint8), edges
    if best is None:
        raise PhotoError(
            f"Frame {place} of {path.name} cannot be read.", remedy="Cut the video anew."
        )
    return best
