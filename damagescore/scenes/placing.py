"""Putting the scale mark into the photo, with its shadow."""

from dataclasses import replace

import cv2
import numpy as np

from damagescore.scenes.camera import Camera, Points
from damagescore.scenes.compose import Canvas
from damagescore.scenes.marks import Card, Notes, card_radiance, make_card, mark_truth
from damagescore.scenes.noise import Field, wide_blur
from damagescore.scenes.shading import colour_of, lamp_direction
from damagescore.scenes.spec import SceneSpec


def design_card(spec: SceneSpec) -> tuple[Card, Notes] | None:
    """Lay out and place the card of a scene; None for no mark.

    In a face view it leans on the lower plate; with a stand-off, and in a profile view, it
    stands on the bench.
    """
    profile = spec.view == "profile"
    below = spec.stack.plate_below_mm
    at = spec.mark.centre_mm or ((16.0, 0.0) if profile else (0.0, -below / 2))
    made = make_card(
        spec.mark,
        pitch_mm=1 / (spec.oversample * spec.camera.px_per_mm),
        middle_world=np.array([at[0], at[1], 0.0]),
        axes=(np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), np.array([0, 0, 1.0])),
    )
    if made is None or spec.mark.centre_mm or not (profile or spec.mark.standoff_mm):
        return made
    card, notes = made
    drop = float(card.foot_mm()[:, 1].min()) + below
    return replace(card, origin=card.origin - np.array([0.0, drop, 0.0])), notes


def lay_mark(
    canvas: Canvas,
    spec: SceneSpec,
    camera: Camera,
    made: tuple[Card, Notes],
    rng: np.random.Generator,
    *,
    world: Points | None = None,
) -> Notes:
    """Put the card into the photo and return its truth, told in the turned `world`."""
    card, notes = made
    if spec.view == "face":
        _shade_behind(canvas.photo, card, camera, spec)
    paste_card(canvas, card, spec, camera, rng)
    good = spec.mark.standoff_mm == 0 and spec.mark.turn_deg == 0
    return mark_truth(card, notes, camera, in_plane=good, world=world)


def _shade_behind(photo: Field, card: Card, camera: Camera, spec: SceneSpec) -> None:
    """Soft shadow of the card on the part behind it (in place)."""
    lamp = lamp_direction(spec.light)
    width, height = card.size_mm
    corners = card.to_world(np.array([[0, 0], [width, 0], [width, height], [0, height]], float))
    gap = np.maximum(corners[:, 2], 0) + 0.7
    if spec.stack.radius_mm is not None:
        gap = gap + corners[:, 0] ** 2 / (2 * spec.stack.radius_mm) * 0.5
    fallen = corners + np.outer(gap, -lamp / max(lamp[2], 0.2) + np.array([0, 0, 1.0]))
    fallen[:, 2] = 0
    dark = np.zeros(photo.shape[:2], np.float32)
    spread = float(gap.mean())
    for points, weight, reach in ((fallen, 0.62, 0.35 + 0.35 * spread), (corners, 0.3, 0.8)):
        px = np.round(camera.project(points) * 16).astype(np.int32)
        quad = np.zeros(photo.shape[:2], np.uint8)
        cv2.fillConvexPoly(quad, px, 255, cv2.LINE_AA, 4)
        soft = wide_blur(
            quad.astype(np.float32) / np.float32(255), reach * spec.camera.px_per_mm * 0.5
        )
        strength = weight * (spec.light.direct if weight > 0.5 else 1.0)
        dark = 1 - (1 - dark) * (1 - np.float32(strength) * soft)
    photo *= (1 - dark)[..., None]


def paste_card(
    canvas: Canvas,
    card: Card,
    spec: SceneSpec,
    camera: Camera,
    rng: np.random.Generator,
) -> None:
    """Warp the card into the photo by its exact homography (in place)."""
    lamp = lamp_direction(spec.light)
    out = np.cross(card.along, card.up)
    facing = max(float(lamp @ out), 0.0) * spec.light.direct + (1 - spec.light.direct)
    shade = card_radiance(card, facing, rng)
    soft = cv2.GaussianBlur(shade, (0, 0), 0.38 * spec.oversample)
    size = camera.size_px
    matrix = card.texel_homography(camera)
    seen = cv2.warpPerspective(soft, matrix, size, borderMode=cv2.BORDER_REPLICATE)
    cover = cv2.warpPerspective(np.ones_like(soft), matrix, size)
    tint = spec.light.direct * colour_of(spec.light.kelvin) + (
        1 - spec.light.direct
    ) * colour_of(spec.light.room_kelvin)
    rows = np.flatnonzero(cover.max(axis=1) > 0)
    if not len(rows):
        return
    part = slice(rows[0], rows[-1] + 1)
    paper = seen[part][..., None] * np.asarray(tint, np.float32) * _side_light(size, spec)[part]
    canvas.photo[part] += cover[part][..., None] * (paper - canvas.photo[part])
    whole = cover[part] > 0.5
    canvas.label[part][whole] = 3
    middle = card.to_world(np.array([card.size_mm]) / 2)
    canvas.depth_mm[part][whole] = np.float32(camera.depth(middle)[0])


def _side_light(size: tuple[int, int], spec: SceneSpec) -> Field:
    """Slow unevenness of the light on the card, brighter towards the lamp."""
    reach = size[0] / spec.camera.px_per_mm / spec.light.lamp_distance_mm
    tilt = 0.7 * reach * lamp_direction(spec.light)[0]
    field = 1 + tilt * np.linspace(-0.5, 0.5, size[0], dtype=np.float32)
    return np.broadcast_to(field[None, :, None], (size[1], size[0], 1)).astype(np.float32)
