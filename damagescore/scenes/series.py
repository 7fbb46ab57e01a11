"""One part photographed at eight inspections, and an endurance test of two parts.

The shop, the parts and the load spectrum are invented; the cracks grow by laws that the
truth tells.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from tqdm import tqdm

from damagescore.scenes.render import render, write_scene
from damagescore.scenes.spec import (
    CameraSpec,
    CrackSpec,
    DistractorSpec,
    LightSpec,
    MarkSpec,
    SceneSpec,
    SensorSpec,
    StackSpec,
)

SURFACE_MM = (-62.0, 62.0)
"""Longer than any of the photos shows."""

HISTORY_HOURS = (0, 250, 500, 750, 1000, 1250, 1500, 1750)
TEST_HOURS = (0, 150, 300, 450, 600, 750)

SEED = 7300
"""Of the part of the history; each part on test has the next hundreds."""


def _part(rubber: str, *cracks: CrackSpec) -> SceneSpec:
    return SceneSpec(
        name="part",
        camera=CameraSpec(size_px=(2200, 1650), px_per_mm=25, pitch_deg=4),
        stack=StackSpec(rubber_layers=6, rubber_mm=3.5, shim_mm=0.6, rubber=rubber),
        light=LightSpec(azimuth_deg=118, elevation_deg=42, direct=0.55),
        mark=MarkSpec(ids=(40, 41)),
        distractors=DistractorSpec(fibres=2, scratches=3, flash_ridges=0),
        sensor=SensorSpec(noise=0.7, jpeg_quality=82),
        surface_mm=SURFACE_MM,
        cracks=cracks,
    )


def history_specs() -> tuple[tuple[float, SceneSpec], ...]:
    """Hours and scene of each inspection of one part: two cracks grow, one is there to stay.

    The first crack grows exponentially, 6 mm at 0 h and 1.15 times as long every 250 h; the
    second appears after 500 h and grows by 1.8 mm every 250 h; the third does not grow.
    """
    growing = CrackSpec(layer=4, s_mm=4, length_mm=24, width_mm=0.42, branches=0)
    later = CrackSpec(layer=8, s_mm=-16, length_mm=16, width_mm=0.26, branches=0)
    still = CrackSpec(layer=2, s_mm=20, length_mm=4, width_mm=0.24, branches=0)
    part = _part("black", growing, later, still)
    found = []
    for visit, hours in enumerate(HISTORY_HOURS):
        longest = 6.0 * 1.15 ** (hours / 250)
        second = max(0.0, 1.8 * (hours - 500) / 250)
        cracks = (
            replace(growing, grown=longest / 24),
            replace(later, grown=second / 16),
            still,
        )
        found.append((float(hours), _taken(part, f"hv2210-0201-{hours:04d}h", visit, cracks)))
    return tuple(found)


def endurance_specs() -> dict[str, tuple[tuple[float, SceneSpec], ...]]:
    """By part: hours and scene of each look. Both crack from 150 h, E-2 more slowly."""
    one = CrackSpec(layer=6, s_mm=-3, length_mm=44, width_mm=0.42, branches=0)
    parts = {
        "E-1": (_part("black", one), 0.055, 150.0),
        "E-2": (_part("dark_grey", one), 0.02, 150.0),
    }
    found = {}
    for number, (name, (part, rate, start)) in enumerate(parts.items()):
        looks = []
        for visit, hours in enumerate(TEST_HOURS):
            length = max(0.0, rate * (hours - start))
            cracks = (replace(one, grown=length / 44),)
            stem = f"{name.lower()}-{hours:04d}h"
            looks.append((float(hours), _taken(part, stem, visit + 10 * number, cracks)))
        found[name] = tuple(looks)
    return found


def _taken(part: SceneSpec, name: str, visit: int, cracks: tuple[CrackSpec, ...]) -> SceneSpec:
    """The part at one visit: nobody puts the camera or the lamp where they were."""
    draw = np.random.default_rng([SEED, visit])
    camera = replace(
        part.camera,
        px_per_mm=float(25 * draw.uniform(0.97, 1.03)),
        yaw_deg=float(draw.uniform(-6, 6)),
        pitch_deg=float(draw.uniform(3, 6)),
        roll_deg=float(draw.uniform(-1, 1)),
        target_mm=(float(draw.uniform(-2.5, 2.5)), 5.5),
    )
    light = replace(
        part.light,
        azimuth_deg=float(draw.uniform(95, 140)),
        elevation_deg=float(draw.uniform(36, 50)),
    )
    return replace(part, name=name, camera=camera, light=light, visit=visit, cracks=cracks)


def seed_of(name: str) -> int:
    """Seed of a part: it gives the textures that stay with it."""
    return SEED + 100 * ("history", "E-1", "E-2").index(name)


def write_series(folder: Path, *, only: str) -> None:
    """Render the photos of a story, and write its plan and readings.

    Parameters
    ----------
    folder : Path
        Made when missing.
    only : "history" or "endurance"
    """
    folder.mkdir(parents=True, exist_ok=True)
    if only == "history":
        looks = history_specs()
        _write_photos("history", looks, folder)
        (folder / "history.toml").write_text(_history_plan(looks), encoding="utf-8")
    else:
        parts = endurance_specs()
        for name, looks in parts.items():
            _write_photos(name, looks, folder)
            readings = folder / f"{name.lower()}.csv"
            readings.write_text(_readings(name), encoding="utf-8")
        (folder / "endurance.toml").write_text(_test_plan(parts), encoding="utf-8")


def _write_photos(name: str, looks: Iterable[tuple[float, SceneSpec]], folder: Path) -> None:
    for _, spec in tqdm(list(looks), desc=name, unit="photo"):
        write_scene(render(spec, seed_of(name)), folder)


SCALE = 'scale = "squares"\nsize_mm = 10.0\n'


def _looks(looks: Iterable[tuple[float, SceneSpec]]) -> str:
    return "".join(
        f"\n[[part.look]]\nhours = {hours:.0f}\ndate = {_day(hours)}\n"
        f'photo = "{spec.name}.jpg"\n'
        for hours, spec in looks
    )


def _day(hours: float) -> date:
    """An invented date: five hours a day."""
    return date(2031, 1, 6) + timedelta(days=round(hours / 5))


def _history_plan(looks: Iterable[tuple[float, SceneSpec]]) -> str:
    return (
        "# One invented part at eight inspections.\n"
        f'title = "HV-2210 over 1750 h"\n{SCALE}\n'
        f'[[part]]\nname = "0201"\ngroup = "HV-2210"\n{_looks(looks)}'
    )


def _test_plan(parts: dict[str, tuple[tuple[float, SceneSpec], ...]]) -> str:
    head = (
        "# An invented endurance test of two parts.\n"
        'title = "Two compounds on stand 3"\nspectrum = "invented: 6 degrees, 5 Hz, 20 kN"\n'
        f"{SCALE}show_hours = [0, 450, 750]\n"
    )
    tables = [
        f'\n[[part]]\nname = "{name}"\ngroup = "Compound {letter}"\nending = "run_out"\n'
        f'readings = "{name.lower()}.csv"\n{_looks(looks)}'
        for letter, (name, looks) in zip("AB", parts.items(), strict=True)
    ]
    return head + "".join(tables)


def _readings(name: str) -> str:
    """Stiffness in N/mm that falls with the crack, and temperature, every 75 h."""
    draw = np.random.default_rng([SEED, seed_of(name)])
    fall = {"E-1": 0.00028, "E-2": 0.00013}[name]
    lines = ["hours,stiffness,stiffness_u,temperature_c"]
    for hours in range(0, 751, 75):
        stiffness = 1480 * (1 - fall * hours) + 4 * draw.standard_normal()
        heat = 24 + 14 * (1 - np.exp(-hours / 90)) + 0.6 * draw.standard_normal()
        lines.append(f"{hours},{stiffness:.1f},5.0,{heat:.1f}")
    return "\n".join(lines) + "\n"
