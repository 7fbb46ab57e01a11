"""Endurance tests: lives between inspections, readings, plans, frames and comparisons."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from damagescore.endurance.compare import compare
from damagescore.endurance.crossing import interpolated, lifetime_of
from damagescore.endurance.frames import sample_frames
from damagescore.endurance.life import LifeRatio, NoRatio
from damagescore.endurance.plan import read_plan
from damagescore.endurance.readings import read_readings
from damagescore.endurance.record import Lifetime, Specimen
from damagescore.endurance.words import NO_DIFFERENCE, group_words, life_words, pair_words
from damagescore.errors import PhotoError, UsageError
from damagescore.history.record import Point, Series
from damagescore.limits import Criterion, LimitSet
from damagescore.quantity import Measured, NotMeasured, Quantity

STIFF = LimitSet(
    title="Invented", invented=True,
    criteria=(Criterion(id="stiff", text="below 80 %", quantity="stiffness_retention",
                        statistic="smallest", direction="min", limit=80.0, unit="%"),),
)  # fmt: skip


def crack(
    *pairs: tuple[float, float | None], u: float = 0.1, limit: float | None = 10.0
) -> Series:
    def value(v: float | None) -> Quantity:
        if v is None:
            return NotMeasured(reason="Too blurred.", unit="mm")
        return Measured(value=v, u=u, unit="mm")

    points = tuple(Point(use=t, value=value(v)) for t, v in pairs)
    return Series(
        id="long", label="Crack length, longest", unit="mm", points=points, limit=limit
    )


def part(name: str, group: str, *pairs: tuple[float, float | None], **how: object) -> Specimen:
    return Specimen(name=name, group=group, series=(crack(*pairs),), **how)  # type: ignore[arg-type]


def test_a_life_ends_between_two_inspections() -> None:
    series = crack((0, 0.0), (100, 6.0), (200, 14.0))
    assert lifetime_of(series) == Lifetime(low=100, high=200)
    assert interpolated(series) == pytest.approx(150)  # halfway from 6 to 14


def test_borderline_and_blind_inspections_widen_the_interval() -> None:
    series = crack((0, 0.0), (100, 9.95), (200, None), (300, 10.05), (400, 14.0))
    assert lifetime_of(series) == Lifetime(low=0, high=400)


def test_a_part_not_at_its_limit_is_censored_at_its_last_sure_look() -> None:
    assert lifetime_of(crack((0, 0.0), (100, 6.0), (200, 9.9))) == Lifetime(low=100, high=None)


def test_a_life_needs_a_limit() -> None:
    with pytest.raises(UsageError, match="has no limit"):
        lifetime_of(crack((0, 1.0), limit=None))


def test_two_single_parts_are_compared_as_two_parts_only() -> None:
    first = part("E-1", "A", (0, 0.0), (100, 6.0), (200, 14.0))
    second = part("E-2", "B", (0, 0.0), (300, 6.0), (400, 14.0), ending="run_out")
    (criterion,) = compare([first, second]).criteria
    (pair,) = criterion.pairs
    assert (pair.low, pair.high) == (1.5, 4.0)  # 300/200 and 400/100
    assert pair.difference_shown
    assert "between 1.5 and 4 times as long" in pair_words(pair)
    assert "these two parts only" in pair_words(pair)
    assert criterion.groups == ()


def test_overlapping_intervals_show_no_difference() -> None:
    first = part("E-1", "A", (0, 0.0), (100, 6.0), (200, 14.0))
    second = part("E-2", "B", (0, 0.0), (150, 6.0), (250, 14.0))
    (criterion,) = compare([first, second]).criteria
    assert not criterion.pairs[0].difference_shown
    assert NO_DIFFERENCE in pair_words(criterion.pairs[0])


def test_two_censored_parts_bound_nothing() -> None:
    parts = [part("E-1", "A", (0, 0.0), (200, 5.0)), part("E-2", "B", (0, 0.0), (200, 4.0))]
    (criterion,) = compare(parts).criteria
    assert not criterion.pairs[0].difference_shown
    assert "neither bounds the other" in pair_words(criterion.pairs[0])


def test_groups_are_compared_by_their_ratio_of_lives() -> None:
    hours = {"A": (100, 120, 150, 170), "B": (400, 480, 560, 700)}
    parts = [
        part(f"{group}-{h}", group, (0, 0.0), (h, 6.0), (h + 20, 14.0))
        for group, all_hours in hours.items()
        for h in all_hours
    ]
    (criterion,) = compare(parts).criteria
    (group,) = criterion.groups
    assert isinstance(group.ratio, LifeRatio)
    assert group.ratio.low < 3.7 < group.ratio.high  # 545 over 145 hours, about
    assert "longer life is shown" in group_words(group)
    assert criterion.pairs == ()


def test_too_few_ends_of_life_are_said() -> None:
    parts = [
        part("1", "A", (0, 0.0), (100, 14.0)), part("2", "A", (0, 0.0), (100, 5.0)),
        part("3", "B", (0, 0.0), (100, 14.0)), part("4", "B", (0, 0.0), (90, 14.0)),
    ]  # fmt: skip
    (criterion,) = compare(parts).criteria
    assert isinstance(criterion.groups[0].ratio, NoRatio)
    assert NO_DIFFERENCE in group_words(criterion.groups[0])


@pytest.mark.parametrize(
    ("parts", "why"),
    [
        ([part("1", "A", (0, 0.0))], "has 1 part"),
        ([part("1", "A", (0, 0.0)), part("1", "B", (0, 0.0))], "same name"),
        ([part("1", "A", (0, 0.0)), Specimen(name="2", group="B", series=())], "in common"),
    ],
)
def test_what_cannot_be_compared_is_refused(parts: list[Specimen], why: str) -> None:
    with pytest.raises(UsageError, match=why):
        compare(parts)


def test_lives_have_words() -> None:
    assert life_words(Lifetime(low=5, high=None)) == "not reached by 5 h"
    assert life_words(Lifetime(low=5, high=5)) == "reached at 5 h"
    assert life_words(Lifetime(low=5, high=9)) == "reached between 5 h and 9 h"


def test_stiffness_becomes_its_retention() -> None:
    text = (
        "hours,stiffness,stiffness_u,temperature_c\n0,1500,15,24\n100,1200,12,\n50,1350,15,31\n"
    )
    retention, heat = read_readings(text, name="a.csv", limits=STIFF)
    assert [(p.use, p.value.value) for p in retention.points] == [(0, 100), (50, 90), (100, 80)]
    # 12/1500 of the value then and 15/1500 of the first, in per cent
    assert retention.points[2].value.u == pytest.approx(np.hypot(0.8, 0.8))
    assert (retention.id, retention.limit, retention.direction) == ("stiff", 80.0, "min")
    assert [p.use for p in heat.points] == [0, 50]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("time,stiffness\n1,2\n", "unknown column 'time'"),
        ("stiffness\n2\n", "no column hours"),
        ("hours,stiffness\n0,abc\n", "line 2: stiffness is 'abc'"),
        ("hours,stiffness\n0,1\n,2\n", "line 3: there are no hours"),
        ("hours\n1\n", "neither a column"),
        ("hours,stiffness\n", "no readings"),
        ("hours,stiffness\n0,0\n1,4\n", "first stiffness is 0"),
        ("hours,stiffness\n0,-3\n", "line 2: stiffness is '-3'"),
        ("hours,stiffness\n0,inf\n", "line 2: stiffness is 'inf'"),
    ],
)
def test_faulty_readings_are_refused_with_their_line(text: str, why: str) -> None:
    with pytest.raises(UsageError, match=why):
        read_readings(text, name="a.csv")


def test_semicolons_and_a_byte_order_mark_are_read() -> None:
    (series,) = read_readings("\ufeffHours;Stiffness\n0;10\n5;9\n", name="a.csv")
    assert [p.value.value for p in series.points] == [100, 90]


def write_video(path: Path, *, frames: int = 21) -> None:
    writer = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"MJPG"), 10.0, (64, 48))
    for i in range(frames):
        image = np.full((48, 64, 3), 5 * i, np.uint8)
        if i % 5 == 0:  # every fifth frame is sharp
            image[::4] = 255
        writer.write(image)
    writer.release()


def test_frames_are_sampled_evenly_and_sharp(tmp_path: Path) -> None:
    write_video(tmp_path / "a.avi")
    found = list(sample_frames(tmp_path / "a.avi", 5))
    assert [f.share for f in found] == [0, 0.25, 0.5, 0.75, 1]
    assert all(f.image.std() > 50 for f in found)  # stripes; plain frames have 0
    assert cv2.imdecode(np.frombuffer(found[1].to_png(), np.uint8), 1).shape == (48, 64, 3)


def test_videos_that_cannot_serve_are_refused(tmp_path: Path) -> None:
    write_video(tmp_path / "a.avi", frames=3)
    with pytest.raises(UsageError, match="has 3 frames"):
        list(sample_frames(tmp_path / "a.avi", 9))
    with pytest.raises(UsageError, match="0 frames"):
        list(sample_frames(tmp_path / "a.avi", 0))
    (tmp_path / "b.mp4").write_bytes(b"no video")
    with pytest.raises(PhotoError, match="cannot be read as a video"):
        list(sample_frames(tmp_path / "b.mp4", 2))


PLAN = """
title = "T"
[[part]]
name = "E-1"
group = "A"
ending = "run_out"
[[part.look]]
hours = 100
photo = "b.jpg"
[[part.look]]
hours = 0
photo = "a.jpg"
[[part]]
name = "E-2"
[[part.look]]
hours = 0
until_hours = 50
frames = 3
video = "v.avi"
"""


def test_a_plan_is_read_in_the_order_of_hours(tmp_path: Path) -> None:
    (tmp_path / "t.toml").write_text(PLAN)
    plan = read_plan(tmp_path / "t.toml")
    assert [x.path.name for x in plan.parts[0].looks] == ["a.jpg", "b.jpg"]
    assert (plan.parts[1].group, plan.parts[1].ending) == ("E-2", "running")
    assert (plan.parts[1].looks[0].until_hours, plan.parts[1].looks[0].frames) == (50, 3)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (("title =", "title"), "is no TOML file"),
        (('"run_out"', '"broken"'), "ending is 'broken'"),
        (("hours = 100", 'hours = "x"'), "hours is 'x'"),
        (('photo = "b.jpg"', 'photo = "b.jpg"\nvideo = "c.avi"'), "both or neither"),
        (('name = "E-2"', 'group = "B"'), "part 2 has no name"),
        (("until_hours = 50", "until_hours = -1"), "until_hours is -1"),
    ],
)
def test_faulty_plans_are_refused_with_their_place(
    tmp_path: Path, change: tuple[str, str], why: str
) -> None:
    (tmp_path / "t.toml").write_text(PLAN.replace(*change, 1))
    with pytest.raises(UsageError, match=why):
        read_plan(tmp_path / "t.toml")
