"""The whole scene for the renderer: edge, plates, card, bench, clutter, light, camera."""

from typing import Any

import cv2
import mitsuba_oidn as oidn
import numpy as np
from numpy.typing import NDArray

from benchmarks.relief.card import Card
from benchmarks.relief.lights import rgb, rig
from benchmarks.relief.pits import loose_crumbs
from benchmarks.relief.plan import Plan
from benchmarks.relief.renderer import mi
from benchmarks.relief.skin import Skin, bare_skin, break_out, clouds, cut_fracture
from benchmarks.relief.solid import framed, grid_mesh, lump
from benchmarks.relief.view import View, on_surface

Things = dict[str, Any]

NODES_PER_PX = 1.3
RECESS_MM = 0.9
CARD_THICK_MM = 0.6
SAMPLES = 6


def seen_span(plan: Plan) -> tuple[float, float]:
    """The stretch of s worth meshing: what the photo can show, with a margin."""
    width_mm = plan.view.size_px[0] / plan.view.px_per_mm
    half = 0.56 * width_mm + 4
    radius = plan.layup.radius_mm
    if radius is not None and plan.profile:
        left = max(-0.98, (radius - 0.8 * width_mm) / radius)
        return radius * float(np.arcsin(left)), 1.8 * radius
    if radius is not None:
        half = (
            1.45 * radius if half > 0.98 * radius else radius * float(np.arcsin(half / radius))
        )
    return max(plan.ends_mm[0], -half), min(plan.ends_mm[1], half)


def damaged_skin(plan: Plan) -> Skin:
    """The edge's height field with all its damage."""
    step = 1 / (NODES_PER_PX * plan.view.px_per_mm)
    skin = bare_skin(
        plan.layup, plan.finish, span_mm=seen_span(plan), step_mm=step, rng=plan.rng(1)
    )
    for area in plan.areas:
        break_out(skin, area, plan.rng(2))
    for fracture in plan.fractures:
        cut_fracture(skin, fracture, plan.rng(3))
    return skin


def rubber_bsdf(colour: Any, gloss: Any) -> Things:
    return {"type": "principled", "base_color": colour, "roughness": gloss, "specular": 0.45}


def _attribute(name: str) -> Things:
    return {"type": "mesh_attribute", "name": f"vertex_{name}"}


def _edge(plan: Plan, skin: Skin) -> Any:
    """The mesh of the edge; its border turns inwards, so that it looks solid."""
    preset, factor = plan.metal
    low, high = plan.ranges.metal_roughness
    across = plan.rng(4).uniform(low, high)
    skin.colour[skin.metal > 0.5] *= factor
    bsdf = mi.load_dict({
        "type": "blendbsdf", "weight": _attribute("metal"),
        "rubber": rubber_bsdf(_attribute("colour"), _attribute("gloss")),
        "shim": {"type": "roughconductor", "material": preset, "alpha_u": 0.5 * across,
                 "alpha_v": across, "specular_reflectance": _attribute("colour")},
    })  # fmt: skip
    s, v, h = framed(skin.s_mm), framed(skin.v_mm), framed(skin.height_mm, -_depth(plan))
    points = on_surface(
        np.column_stack([s.ravel(), v.ravel()]), plan.layup.radius_mm, h.ravel()
    )
    values = {
        "metal": framed(skin.metal),
        "colour": framed(skin.colour),
        "gloss": framed(skin.gloss),
    }
    return grid_mesh(points.reshape(*s.shape, 3), bsdf, values)


def _depth(plan: Plan) -> float:
    return 25.0 if plan.layup.radius_mm is None else 0.95 * plan.layup.radius_mm


PAINTS = {"green_paint": (0.07, 0.16, 0.1), "grey_paint": (0.28, 0.29, 0.3)}


def _plate_bsdf(plan: Plan) -> Any:
    paint = PAINTS.get(plan.plate)
    if paint is not None:
        return {"type": "principled", "base_color": _attribute("colour"), "roughness": 0.4}
    rough = (0.14, 0.34) if plan.plate == "milled" else (0.42, 0.42)
    return {"type": "roughconductor", "material": "Al" if plan.plate == "milled" else "Cr",
            "alpha_u": rough[0], "alpha_v": rough[1],
            "specular_reflectance": _attribute("colour")}  # fmt: skip


def _plate(
    plan: Plan, low_mm: float, high_mm: float, recess_mm: float, rng: np.random.Generator
) -> Any:
    """An end plate between two heights, set back behind the rubber."""
    step = 0.05
    span = seen_span(plan)
    s, v = np.meshgrid(
        np.arange(span[0] - 1.5, span[1] + 1.5, step), np.arange(low_mm, high_mm, step)
    )
    shape = s.shape
    paint = PAINTS.get(plan.plate)
    fine = 0.0015 if plan.plate == "milled" else 0.004
    height = fine * clouds(shape, 0.4 / step, rng) + 0.01 * clouds(shape, 12 / step, rng)
    if plan.plate == "milled":
        height += 0.003 * cv2.blur(rng.normal(size=shape).astype(np.float32), (61, 1)) * 8
    if plan.plate == "cast":
        height += 0.007 * clouds(shape, 0.5 / step, rng)
    stain = np.clip(
        0.8 + 0.035 * clouds(shape, 14 / step, rng) + 0.02 * clouds(shape, 0.4 / step, rng),
        0.2,
        1,
    )
    colour = stain[..., None] * np.asarray(paint or (0.8, 0.79, 0.77), np.float32)
    if paint is not None:
        chipped = clouds(shape, 1.0 / step, rng) > 2.9
        colour[chipped] = (0.3, 0.28, 0.26)
        height -= 0.05 * chipped
    s, v, h = framed(s), framed(v), framed(height - recess_mm, -_depth(plan))
    points = on_surface(
        np.column_stack([s.ravel(), v.ravel()]), plan.layup.radius_mm, h.ravel()
    )
    return grid_mesh(
        points.reshape(*s.shape, 3), mi.load_dict(_plate_bsdf(plan)), {"colour": framed(colour)}
    )


def print_things(card: Card) -> Things:
    """The print, and the thin card that carries it, its front in the card's plane."""
    t = mi.ScalarTransform4f
    width, height = card.size_mm
    x, y = card.centre_mm
    place = t().translate([x, y, card.z_mm]) @ t().rotate([0, 0, 1], card.turn_deg)
    front = place @ t().scale([width / 2, height / 2, 1])
    body = (
        place
        @ t().translate([0, 0, -CARD_THICK_MM / 2 - 0.002])
        @ t().scale([width / 2, height / 2, CARD_THICK_MM / 2])
    )
    upwards = card.print_[::-1, :, None]  # the renderer counts rows upwards
    print_ = upwards * np.array([1.0, 0.985, 0.95], np.float32)
    texture = {
        "type": "bitmap",
        "bitmap": mi.Bitmap(np.ascontiguousarray(print_)),
        "raw": True,
        "wrap_mode": "clamp",
    }
    paper = {"type": "diffuse", "reflectance": rgb((0.75, 0.74, 0.7))}
    return {
        "card": {
            "type": "rectangle",
            "to_world": front,
            "bsdf": {"type": "diffuse", "reflectance": texture},
        },
        "card_body": {"type": "cube", "to_world": body, "bsdf": paper},
    }


def _bench_texture(kind: str, rng: np.random.Generator) -> NDArray[np.float32]:
    shape = (512, 512)
    if kind == "wood":
        grain = cv2.blur(rng.normal(size=shape).astype(np.float32), (151, 3))
        tone = 1 + 0.35 * grain / grain.std() * 0.4 + 0.15 * clouds(shape, 200, rng)
        return (np.clip(tone, 0.3, 2)[..., None] * np.array([0.3, 0.18, 0.09])).astype(
            np.float32
        )
    base = {
        "mat": (0.03, 0.12, 0.09),
        "steel": (0.42, 0.43, 0.44),
        "paper": (0.68, 0.67, 0.63),
    }[kind]
    tone = 1 + 0.06 * clouds(shape, 60, rng) + 0.03 * clouds(shape, 4, rng)
    picture = tone[..., None] * np.asarray(base)
    if kind == "mat":
        picture[::64] = picture[:, ::64] = (0.4, 0.42, 0.3)
    return np.clip(picture, 0, 0.9).astype(np.float32)


def _surroundings(plan: Plan, rng: np.random.Generator) -> Things:
    """Bench, a wall far behind, and objects that lie about."""
    t = mi.ScalarTransform4f
    y = -plan.plate_below_mm
    flat = t().translate([0, y, -60]) @ t().rotate([1, 0, 0], -90) @ t().scale(260)
    top = {"type": "bitmap", "bitmap": mi.Bitmap(_bench_texture(plan.bench, rng)), "raw": True}
    tone = rng.uniform(0.45, 0.8) if plan.profile else rng.uniform(0.08, 0.6)
    wall_tone = tone * rng.uniform(0.85, 1.15, 3)
    blotch = np.clip(1 + 0.3 * clouds((64, 64), 12, rng), 0.2, 1.6)[..., None] * wall_tone
    wall = {
        "type": "bitmap",
        "bitmap": mi.Bitmap(np.clip(blotch, 0, 0.9).astype(np.float32)),
        "raw": True,
    }
    rough = 0.3 if plan.bench == "steel" else 0.55
    things: Things = {
        "bench": {"type": "rectangle", "to_world": flat,
                  "bsdf": {"type": "principled", "base_color": top, "roughness": rough}},
        "wall": {"type": "rectangle", "to_world": t().translate([0, 0, -320]) @ t().scale(700),
                 "bsdf": {"type": "diffuse", "reflectance": wall}},
    }  # fmt: skip
    for i in range(0 if plan.profile else int(rng.integers(2, 6))):
        things[f"behind{i}"] = _behind(y, rng)
    room = plan.card.centre_mm[1] - plan.card.size_mm[1] / 2 - y
    for i in range(int(rng.integers(0, 4)) if room > 3 else 0):
        things[f"nut{i}"] = _small_part(0.5 * room, y, rng)
    return things


def _any_bsdf(rng: np.random.Generator) -> Things:
    if rng.random() < 0.4:
        return {
            "type": "roughconductor",
            "material": "Al",
            "alpha": float(rng.uniform(0.1, 0.3)),
        }
    colour = rng.uniform(0.03, 0.6) * rng.uniform(0.4, 1.0, 3)
    return {
        "type": "principled",
        "base_color": rgb(colour),
        "roughness": float(rng.uniform(0.2, 0.6)),
    }


def _behind(y: float, rng: np.random.Generator) -> Things:
    t = mi.ScalarTransform4f
    tall = float(rng.uniform(20, 90))
    at = [float(rng.uniform(-120, 120)), y + tall, float(rng.uniform(-260, -110))]
    turned = t().translate(at) @ t().rotate([0, 1, 0], float(rng.uniform(0, 90)))
    if rng.random() < 0.5:
        shape = {
            "type": "cube",
            "to_world": turned @ t().scale([rng.uniform(10, 40), tall, rng.uniform(10, 30)]),
        }
    else:
        shape = {"type": "cylinder", "p0": [at[0], y, at[2]],
                 "p1": [at[0], y + 2 * tall, at[2]],
                 "radius": float(rng.uniform(8, 30))}  # fmt: skip
    return {**shape, "bsdf": {"type": "twosided", "b": _any_bsdf(rng)}}


def _small_part(tall: float, y: float, rng: np.random.Generator) -> Things:
    """A washer or pellet on the bench, before the card's foot."""
    t = mi.ScalarTransform4f
    tall = float(rng.uniform(0.4, 1.0) * min(tall, 5))
    x, z = float(rng.uniform(-30, 30)), float(rng.uniform(4, 15))
    if rng.random() < 0.5:
        place = t().translate([x, y + tall / 2, z]) @ t().rotate(
            [0, 1, 0], float(rng.uniform(0, 90))
        )
        shape: Things = {
            "type": "cube",
            "to_world": place @ t().scale([rng.uniform(1, 4), tall / 2, rng.uniform(1, 4)]),
        }
    else:
        shape = {"type": "sphere", "center": [x, y + tall / 2, z], "radius": tall / 2}
    return {**shape, "bsdf": {"type": "twosided", "b": _any_bsdf(rng)}}


def _crumbs(plan: Plan, rng: np.random.Generator) -> Things:
    """Lumps of rubber that cling below a crumbled area or lie in it."""
    things: Things = {}
    for area in plan.areas:
        for s, v, radius in loose_crumbs(area, rng):
            at = on_surface(np.array([[s, v]]), plan.layup.radius_mm, -0.2 * radius)[0]
            bsdf = {"type": "twosided", "b": rubber_bsdf(rgb(plan.finish.rubber), 0.7)}
            things[f"crumb{len(things)}"] = lump(at, radius, mi.load_dict(bsdf), rng)
    return things


def camera(view: View, *, aperture_mm: float, focus_mm: float) -> Things:
    """The view as a sensor with a thin lens."""
    width, height = view.size_px
    return {
        "type": "thinlens", "fov": view.field_deg, "fov_axis": "x",
        "aperture_radius": aperture_mm, "focus_distance": focus_mm,
        "near_clip": 10.0, "far_clip": 5000.0,
        "to_world": mi.ScalarTransform4f(view.to_world),
        "film": {"type": "hdrfilm", "width": width, "height": height, "pixel_format": "rgb",
                 "rfilter": {"type": "box"}},
        "sampler": {"type": "independent"},
    }  # fmt: skip


def stage(plan: Plan, skin: Skin) -> Any:
    """The scene, ready to render."""
    rng = plan.rng(5)
    aim = plan.aim_mm
    top = plan.layup.height_mm
    things: Things = {
        "type": "scene",
        "edge": _edge(plan, skin),
        "below": _plate(plan, -plan.plate_below_mm, -0.02, RECESS_MM, rng),
        "above": _plate(
            plan, top + 0.02, top + plan.plate_above_mm, rng.uniform(0.1, RECESS_MM), rng
        ),
    }
    things |= print_things(plan.card) | _surroundings(plan, rng) | _crumbs(plan, rng)
    things |= rig(plan.rig, aim, rng)
    return mi.load_dict(things)


def radiance(scene: Any, view: View, *, seed: int, aperture_mm: float) -> NDArray[np.float32]:
    """Path trace and denoise; shape (H, W, 3), linear RGB.

    The denoiser sees reflectance and normals, from a pass of their own because that is
    cheaper; single bright paths are clamped to fifteen times the picture's mean before it.
    """
    sensor = mi.load_dict(camera(view, aperture_mm=aperture_mm, focus_mm=view.distance_mm))
    facts = mi.load_dict({"type": "aov", "aovs": "albedo:albedo,normal:sh_normal"})
    known = np.array(mi.render(scene, sensor=sensor, integrator=facts, spp=SAMPLES, seed=seed))
    tracer = mi.load_dict({"type": "path", "max_depth": 3})
    light = np.array(
        mi.render(scene, sensor=sensor, integrator=tracer, spp=SAMPLES, seed=seed + 1)
    )
    light, known = np.nan_to_num(light), np.nan_to_num(known)
    light = np.clip(light, 0, 15 * light.mean())
    albedo, normal = (np.ascontiguousarray(known[..., i : i + 3]) for i in (0, 3))
    return np.asarray(oidn.denoise(light, albedo, normal, hdr=True), np.float32)
