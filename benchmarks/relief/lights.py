"""Light rigs: emitters as areas, and a dim uneven room around."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks.relief.renderer import mi

Things = dict[str, Any]


def rgb(colour: Any) -> Things:
    return {"type": "rgb", "value": [float(c) for c in colour]}


def panel(origin: Any, target: Any, half_width: float, half_height: float) -> Any:
    """Transform of a rectangle that faces a target."""
    t = mi.ScalarTransform4f
    look = t().look_at(
        origin=list(map(float, origin)), target=list(map(float, target)), up=[0.01, 1, 0]
    )
    return look @ t().scale([half_width, half_height, 1])


def _from(aim: NDArray, x: float, y: float, z: float) -> NDArray:
    return aim + np.array([x, y, z])


def _emitter(transform: Any, radiance: Any, shape: str = "rectangle") -> Things:
    return {
        "type": shape,
        "to_world": transform,
        "emitter": {"type": "area", "radiance": radiance},
    }


def room(level: float, rng: np.random.Generator) -> Things:
    """The surroundings: dark below, lighter above, with soft patches."""
    patches = cv2.resize(
        rng.gamma(1.2, 1, (6, 12, 3)).astype(np.float32),
        (128, 64),
        interpolation=cv2.INTER_CUBIC,
    )
    grey = patches.mean(axis=2, keepdims=True)
    slope = np.linspace(1.5, 0.5, 64, dtype=np.float32)[:, None, None]
    picture = np.clip(level * slope * (0.35 + 0.55 * grey + 0.1 * patches), 0.01, None)
    picture[:, -1] = picture[:, 0]
    return {"type": "envmap", "bitmap": mi.Bitmap(picture.astype(np.float32))}


def _window(aim: NDArray, rng: np.random.Generator) -> Things:
    side = rng.choice([-1, 1])
    origin = _from(
        aim, side * rng.uniform(400, 800), rng.uniform(150, 500), rng.uniform(500, 900)
    )
    panes = np.ones((60, 40, 3), np.float32) * np.array([0.92, 1.0, 1.12], np.float32)
    panes[28:32], panes[:, 18:22] = 0.02, 0.02
    panes *= np.linspace(1.2, 0.5, 60, dtype=np.float32)[:, None, None] * rng.uniform(5, 8)
    light = {"type": "bitmap", "bitmap": mi.Bitmap(panes), "raw": True}
    return {"window": _emitter(panel(origin, aim, 260, 380), light), "room": room(0.2, rng)}


def _lamp(aim: NDArray, rng: np.random.Generator) -> Things:
    """A desk lamp, and a board in its way whose shadow falls across the edge."""
    side = rng.choice([-1, 1])
    origin = _from(
        aim, side * rng.uniform(130, 260), rng.uniform(150, 280), rng.uniform(220, 330)
    )
    light = rgb(np.array([1.12, 1.0, 0.8]) * rng.uniform(400, 560))
    things = {
        "lamp": _emitter(panel(origin, aim, 12, 12), light, "disk"),
        "room": room(0.4, rng),
    }
    if rng.random() < 0.6:
        # It reaches outwards from the ray to the lamp, clear of what the camera sees.
        between = aim + 0.3 * (origin - aim)
        turn = np.arctan2(*(origin - aim)[1::-1]) + rng.uniform(-0.6, 0.6)
        out = np.array([np.cos(turn), np.sin(turn), 0])
        centre = between + (100 - rng.uniform(-6, 3)) * out
        flat = mi.ScalarTransform4f().look_at(
            origin=list(centre), target=list(centre + (origin - aim)), up=list(out)
        )
        grey = {"type": "diffuse", "reflectance": rgb((0.2, 0.2, 0.2))}
        things["board"] = {
            "type": "rectangle", "to_world": flat @ mi.ScalarTransform4f().scale(100),
            "bsdf": {"type": "twosided", "b": grey},
        }  # fmt: skip
    return things


def _softbox(aim: NDArray, rng: np.random.Generator) -> Things:
    side = rng.choice([-1, 1])
    origin = _from(
        aim, side * rng.uniform(200, 450), rng.uniform(200, 400), rng.uniform(300, 500)
    )
    light = rgb(np.array([1.0, 1.0, 0.98]) * rng.uniform(6, 9))
    return {"softbox": _emitter(panel(origin, aim, 170, 170), light), "room": room(0.16, rng)}


def _tubes(aim: NDArray, rng: np.random.Generator) -> Things:
    light = rgb(np.array([0.95, 1.05, 0.93]) * rng.uniform(40, 60))
    things: Things = {"room": room(0.3, rng)}
    away = rng.uniform(500, 900)
    for i in range(3):
        origin = _from(aim, rng.uniform(-200, 200), 1300, away + 350 * i)
        things[f"tube{i}"] = _emitter(panel(origin, aim, 600, 22), light)
    return things


RIGS = {"window": _window, "lamp": _lamp, "softbox": _softbox, "tubes": _tubes}


def rig(name: str, aim_mm: NDArray, rng: np.random.Generator) -> Things:
    """Emitters, and what stands in their way, by name."""
    return RIGS[name](aim_mm, rng)
