"""One scene drawn from a table of ranges."""

from dataclasses import dataclass, replace

import numpy as np

from benchmarks.relief.card import Card, dot_card, rule_card, square_card
from benchmarks.relief.cracks import Fracture, bond_gap, crack
from benchmarks.relief.layup import Layup, lay_up
from benchmarks.relief.pits import Crumbled, crumbled
from benchmarks.relief.ranges import RUBBER_SPREAD, TABLES, Range, Ranges
from benchmarks.relief.skin import Finish
from benchmarks.relief.view import Points, View, view_at

SIZE_PX = (1800, 1350)
MARKS = (
    "aruco_4x4_50",
    "apriltag_36h11",
    "steel_rule",
    "aruco_4x4_50",
    "two_dots",
    "apriltag_36h11",
)
DAMAGE = (
    "crack",
    "crack",
    "gap",
    "crumbling",
    "crack crumbling",
    "none",
    "crack gap",
    "crumbling",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """All that a scene needs; `seed` drives what is drawn later, such as textures."""

    name: str
    seed: int
    ranges: Ranges
    layup: Layup
    finish: Finish
    fractures: tuple[Fracture, ...]
    areas: tuple[Crumbled, ...]
    card: Card
    view: View
    plate_below_mm: float
    plate_above_mm: float
    ends_mm: tuple[float, float]
    rig: str
    bench: str
    plate: str
    metal: tuple[str, float]
    profile: bool = False

    @property
    def aim_mm(self) -> Points:
        """The point of the edge that light and camera are set up for."""
        across = self.layup.radius_mm if self.profile and self.layup.radius_mm else 0.0
        return np.array([across, self.layup.height_mm / 2, -across])

    def rng(self, purpose: int) -> np.random.Generator:
        """A stream of its own for each purpose, so that one does not shift another."""
        return np.random.default_rng([self.seed, purpose])


def _pick(ranges: tuple[Range, ...], rng: np.random.Generator) -> float:
    low, high = ranges[rng.integers(len(ranges))]
    return float(rng.uniform(low, high))


def plan_scene(table: str, number: int) -> Plan:
    """Scene `number` of a table; kinds of mark and damage go round, the rest is drawn."""
    ranges, seed = TABLES[table], 7100 + number + (50_000 if table == "holdout" else 0)
    rng = np.random.default_rng(seed)
    px_per_mm = _pick(ranges.px_per_mm, rng)
    width_mm, height_mm = (n / px_per_mm for n in SIZE_PX)
    card = _card(MARKS[number % len(MARKS)], width_mm, rng)
    radius = _pick(ranges.radius_mm, rng) if number % 3 == 2 else None
    room_mm = height_mm - card.size_mm[1] - 4.5
    layup = _layup(ranges, room_mm=room_mm, width_mm=width_mm, radius_mm=radius, rng=rng)
    below = card.size_mm[1] + 2.5 + rng.uniform(0.5, 0.25 * height_mm)
    view = _view(ranges, layup, card, px_per_mm, rng)
    finish = _finish(ranges, layup, rng)
    fractures, areas = _damage(DAMAGE[number % len(DAMAGE)], ranges, layup, width_mm, view, rng)
    half = float(layup.s_mm[-1])
    ends = (
        (-half, half)
        if radius or rng.random() < 0.7
        else (-half, 0.5 * width_mm - rng.uniform(2, 6))
    )
    return Plan(
        name=f"{table}-{number:03d}", seed=seed, ranges=ranges, layup=layup, finish=finish,
        fractures=fractures, areas=areas, card=card, view=view, plate_below_mm=below,
        plate_above_mm=float(rng.choice([rng.uniform(3, 8), 60.0])), ends_mm=ends,
        rig=ranges.rigs[number % 2], bench=ranges.benches[(number // 2) % 2],
        plate=ranges.plates[rng.integers(2)], metal=ranges.metals[rng.integers(2)],
    )  # fmt: skip


def _card(kind: str, width_mm: float, rng: np.random.Generator) -> Card:
    turn = float(rng.uniform(-2.5, 2.5))
    shift = float(rng.uniform(-0.08, 0.08) * width_mm)
    if kind == "steel_rule":
        length = 10 * int(0.75 * width_mm / 10)
        card = rule_card(length_mm=length, centre_mm=(shift, 0.0), turn_deg=turn, rng=rng)
    elif kind == "two_dots":
        apart = 20.0 if width_mm > 40 else 15.0
        card = dot_card(
            apart_mm=apart,
            diameter_mm=apart / 5,
            centre_mm=(shift, 0.0),
            turn_deg=turn,
            rng=rng,
        )
    else:
        side = 10.0 if width_mm > 45 else 8.0 if width_mm > 38 else 6.0
        count = int(rng.integers(1, 3))
        card = square_card(
            kind, side_mm=side, count=count, apart_mm=max(2.2 * side, 0.45 * width_mm),
            centre_mm=(shift, 0.0), turn_deg=turn, rng=rng,
        )  # fmt: skip
    drop = card.size_mm[1] / 2 + np.sin(np.deg2rad(abs(turn))) * card.size_mm[0] / 2
    return replace(card, centre_mm=(shift, -float(drop + rng.uniform(0.5, 1.5))))


def _layup(
    ranges: Ranges, *, room_mm: float, width_mm: float, radius_mm: float | None,
    rng: np.random.Generator,
) -> Layup:  # fmt: skip
    """Draw until the stack fits the room that the card leaves, or nearly fills it."""
    for _ in range(400):
        rubber, shim = _pick(ranges.rubber_mm, rng), _pick(ranges.shim_mm, rng)
        count = int(rng.choice(ranges.rubber_layers))
        if 0.35 * room_mm < count * rubber + (count - 1) * shim < room_mm:
            break
    stack = [
        rubber * rng.uniform(0.96, 1.04) if i % 2 == 0 else shim for i in range(2 * count - 1)
    ]
    half = 0.62 * width_mm + 6 if radius_mm is None else 1.45 * radius_mm
    return lay_up(
        stack,
        span_mm=(-half, half),
        radius_mm=radius_mm,
        wander_mm=float(rng.uniform(0.02, 0.12)),
        rng=rng,
    )


def _view(
    ranges: Ranges, layup: Layup, card: Card, px_per_mm: float, rng: np.random.Generator
) -> View:
    tilt, way = rng.uniform(*ranges.tilt_deg), rng.uniform(0.15, 2 * np.pi - 0.15)
    frame_mm = SIZE_PX[1] / px_per_mm
    pitch = 0.7 * tilt * np.cos(way)
    pitch = pitch if pitch > -1 else -pitch  # never from below the bench
    low = card.centre_mm[1] - card.size_mm[1] / 2 - 1.5
    slack = frame_mm - (layup.height_mm + 1.5 - low)
    centre = low + frame_mm / 2 - max(slack, 0.0) * rng.uniform(0.25, 0.75)
    return view_at(
        np.array([rng.uniform(-2, 2), centre, 0.0]),
        distance_mm=float(rng.uniform(*ranges.distance_mm)),
        px_per_mm=px_per_mm, size_px=SIZE_PX, yaw_deg=tilt * np.sin(way),
        pitch_deg=pitch, roll_deg=float(rng.normal(0, 1.0)),
    )  # fmt: skip


def _finish(ranges: Ranges, layup: Layup, rng: np.random.Generator) -> Finish:
    rubber = ranges.rubbers[rng.integers(len(ranges.rubbers))]
    shade = rng.uniform(1 - RUBBER_SPREAD, 1 + RUBBER_SPREAD)
    kinds = [layer % 2 == 0 for layer in range(layup.count)]
    whole = rng.uniform(-0.12, 0.15)
    return Finish(
        rubber=tuple(shade * c for c in rubber),
        bulges_mm=tuple(float(whole + rng.normal(0, 0.03)) if k else 0.0 for k in kinds),
        shim_rise_mm=tuple(0.0 if k else float(rng.normal(-0.02, 0.06)) for k in kinds),
        texture_mm=float(rng.uniform(0.0035, 0.007)), gloss=float(rng.uniform(0.34, 0.55)),
        bloom=float(rng.choice([0.1, 0.3, 0.6])), dust=float(rng.uniform(0.2, 1.0)),
        smear=float(rng.uniform(0.0, 0.6)), tarnish=float(rng.uniform(0.1, 0.9)),
        flash_layers=_flash_layers(layup, rng),
        scratches=int(rng.integers(0, 6)),
    )  # fmt: skip


def _flash_layers(layup: Layup, rng: np.random.Generator) -> tuple[int, ...]:
    layer = 2 * int(rng.integers(0, (layup.count + 1) // 2))
    return (layer,) if rng.random() < 0.4 else ()


def _damage(
    kinds: str,
    ranges: Ranges,
    layup: Layup,
    width_mm: float,
    view: View,
    rng: np.random.Generator,
) -> tuple[tuple[Fracture, ...], tuple[Crumbled, ...]]:
    """Cracks, gaps and crumbled areas, each in a rubber layer of its own that is in sight."""
    top_mm = _seen_height(view) - 0.5
    rubber = [i for i in range(0, layup.count, 2) if layup.lines_mm[i + 1].mean() < top_mm]
    free = list(rng.permutation(rubber))
    reach = 0.36 * width_mm
    if layup.radius_mm is not None:
        reach = min(reach, 0.6 * layup.radius_mm)
    fractures, areas = [], []
    for kind in kinds.split():
        for _ in range(int(rng.integers(1, 3))):
            if not free or kind == "none":
                break
            layer = int(free.pop())
            if kind == "crumbling":
                areas.append(_area(layup, layer, reach, ranges, rng))
            else:
                fractures.append(_fracture(kind, layup, layer, reach, rng))
    return tuple(fractures), tuple(areas)


def _seen_height(view: View) -> float:
    """Height y that the photo's upper border meets on the plane z = 0, mid-width."""
    back = np.linalg.inv(view.plane_to_image()) @ [view.size_px[0] / 2, 0, 1]
    return float(back[1] / back[2])


def _fracture(
    kind: str, layup: Layup, layer: int, reach: float, rng: np.random.Generator
) -> Fracture:
    if kind == "gap":
        length = float(rng.uniform(0.3, 1.0) * reach)
        return bond_gap(
            layup, layer=layer, upper=bool(rng.random() < 0.5),
            start_mm=float(rng.uniform(-reach, reach - length)),
            length_mm=length, widest_mm=float(rng.uniform(0.12, 0.3)), rng=rng,
        )  # fmt: skip
    thick = layup.thickness_mm(layer)
    steep = rng.random() < 0.2
    angle = float(rng.uniform(35, 80) * rng.choice([-1, 1]) if steep else rng.normal(0, 5))
    length = float(rng.uniform(0.6, 0.95) * thick if steep else rng.uniform(0.35, 1.2) * reach)
    low, high = layup.bounds(layer, np.array([0.0]))
    middle = float((low + high)[0]) / 2 + rng.uniform(-0.15, 0.15) * thick
    drop = length / 2 * np.sin(np.deg2rad(angle)) if steep else 0.0
    start = np.array([rng.uniform(-reach, reach - length), middle - drop])
    return crack(
        layup, layer=layer, start_mm=start, length_mm=length, angle_deg=angle,
        widest_mm=float(rng.uniform(0.1, 0.36)),
        branches=0 if steep else int(rng.integers(0, 3)), rng=rng,
    )  # fmt: skip


def _area(
    layup: Layup, layer: int, reach: float, ranges: Ranges, rng: np.random.Generator
) -> Crumbled:
    length = float(rng.uniform(0.2, 0.6) * reach)
    return crumbled(
        layup, layer=layer, centre_s_mm=float(rng.uniform(-0.6, 0.6) * reach), length_mm=length,
        grain_mm=float(rng.uniform(*ranges.grain_mm)), rng=rng,
    )  # fmt: skip
