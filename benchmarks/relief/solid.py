"""Meshes for the renderer."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchmarks.relief.renderer import mi

Array = NDArray[Any]


def grid_mesh(points_mm: Array, bsdf: Any, values: Mapping[str, Array]) -> Any:
    """Mesh over a grid of points, shape (rows, columns, 3).

    It faces where columns run right and rows run up; `values`, shape (rows, columns) or
    (rows, columns, 3), become vertex attributes.
    """
    rows, columns = points_mm.shape[:2]
    node = np.arange(rows * columns, dtype=np.uint32).reshape(rows, columns)
    a, b, c, d = node[:-1, :-1], node[:-1, 1:], node[1:, :-1], node[1:, 1:]
    faces = np.stack([np.stack([a, b, d], -1), np.stack([a, d, c], -1)], axis=2)
    given = mi.Properties()
    given["bsdf"] = bsdf
    mesh = mi.Mesh(
        "grid", rows * columns, faces.size // 3, has_vertex_texcoords=True, props=given
    )
    for name, value in values.items():
        depth = 1 if value.ndim == 2 else value.shape[2]
        mesh.add_attribute(f"vertex_{name}", depth, value.astype(np.float32).ravel())
    u, v = np.meshgrid(np.linspace(0, 1, columns), np.linspace(0, 1, rows))
    given = mi.traverse(mesh)
    given["vertex_positions"] = points_mm.astype(np.float32).ravel()
    given["vertex_texcoords"] = np.stack([u, v], -1).astype(np.float32).ravel()
    given["faces"] = faces.ravel()
    given.update()
    return mesh


def framed(field: Array, value: Array | float | None = None) -> Array:
    """A field with one more node on every side: repeated, or of a given value."""
    pad = [(1, 1), (1, 1), *[(0, 0)] * (field.ndim - 2)]
    if value is None:
        return np.pad(field, pad, mode="edge")
    return np.pad(field, pad, constant_values=value)


def lump(centre_mm: Array, radius_mm: float, bsdf: Any, rng: np.random.Generator) -> Any:
    """A small uneven ball."""
    polar, around = np.meshgrid(
        np.linspace(np.pi - 0.05, 0.05, 12), np.linspace(0, 2 * np.pi, 18), indexing="ij"
    )
    unit = np.stack(
        [np.sin(polar) * np.cos(around), np.cos(polar), np.sin(polar) * np.sin(around)], axis=-1
    )
    waves = rng.normal(0, 2.5, (5, 3))
    bumps = sum(np.sin(unit @ wave + rng.uniform(0, 6)) for wave in waves)
    points = centre_mm + radius_mm * (1 + 0.13 * bumps)[..., None] * unit * rng.uniform(
        0.6, 1.2, 3
    )
    return grid_mesh(points, bsdf, {})
