"""Reading, refusing and writing limit sets."""

from dataclasses import replace
from pathlib import Path

import pytest

from damagescore.errors import LimitError
from damagescore.limits import (
    Criterion,
    DecisionRule,
    LimitSet,
    demo_limit_set_text,
    hand_quantities,
    limit_set_to_toml,
    parse_limit_set,
    quantities,
    quantity_kind,
    read_limit_set,
)

SMALL = """title = "Invented limits"
unit = "in"

[decision]
kind = "simple"

[[criteria]]
id = "a"
text = "cracks longer than 0.7 in"
quantity = "crack_length"
limit = 0.7

[[criteria]]
id = "b"
text = "more than three cracks"
quantity = "crack_length"
statistic = "count"
limit = 3
min_size = 0.05
"""


def _refused(text: str) -> LimitError:
    with pytest.raises(LimitError) as caught:
        parse_limit_set(text, name="my.toml")
    return caught.value


def test_what_a_file_leaves_out_is_filled_in() -> None:
    limits = parse_limit_set(SMALL)
    first, second = limits.criteria
    assert (first.statistic, first.scope, first.direction) == ("largest", "finding", "max")
    assert (first.unit, first.inclusive, first.min_size) == ("in", False, None)
    assert first.base_limit == 17.78
    assert first.base_unit == "mm"
    assert (second.unit, second.scope) == ("1", "part")
    assert (second.min_size_unit, second.base_min_size) == ("in", 1.27)
    assert second.base_limit == 3
    assert limits.decision == DecisionRule(kind="simple", guard_factor=0.0)
    assert not limits.invented


def test_without_a_decision_the_guarded_rule_holds() -> None:
    limits = parse_limit_set(SMALL.replace('[decision]\nkind = "simple"\n', ""))
    assert limits.decision == DecisionRule(kind="guarded", guard_factor=1.65)


def test_lower_limits_are_the_default_where_low_is_bad() -> None:
    text = SMALL.replace('quantity = "crack_length"\nlimit = 0.7',
                         'quantity = "stiffness_retention"\nlimit = 71')  # fmt: skip
    first = parse_limit_set(text).criteria[0]
    assert (first.direction, first.statistic, first.unit) == ("min", "smallest", "%")


@pytest.mark.parametrize(
    ("old", "new", "line", "parts"),
    [
        ('quantity = "crack_length"\nlimit = 0.7', 'quantity = "crack_lenght"\nlimit = 0.7', 10,
         ('"crack_lenght"', 'Did you mean "crack_length"?', '"bulge_peak"')),
        ("limit = 0.7", 'limit = "0.7"', 11, ("limit", '"0.7"', "number")),
        ("limit = 0.7", "limit = -1", 11, ("limit", "-1")),
        ("limit = 0.7", "limit = nan", 11, ("limit", "nan")),
        ("limit = 0.7", "limit = inf", 11, ("limit", "inf")),
        ("limit = 0.7", "limit = true", 11, ("limit", "True")),
        ("limit = 0.7", "", 7, ('"limit" is missing',)),
        ("limit = 3", "limit = 3\nlimti = 4", 19, ('"limti"', 'Did you mean "limit"?')),
        ("limit = 0.7", 'limit = 0.7\nunit = "cm"', 12, ('"cm"', '"mm", "in"')),
        ("limit = 0.7", 'limit = 0.7\nunit = "mm2"', 12, ('"mm2"', '"mm", "in"')),
        ("limit = 0.7", 'limit = 0.7\nstatistic = "mean"', 12, ('"mean"', '"largest"')),
        ("limit = 0.7", 'limit = 0.7\nscope = "photo"', 12, ('"photo"', '"layer"')),
        ("limit = 3", 'limit = 3\nscope = "finding"', 19, ('"finding"', '"part", "layer"')),
        ("limit = 0.7", 'limit = 0.7\ndirection = "min"', 12, ('"min"', '"max"')),
        ("limit = 0.7", "limit = 0.7\nmin_size = 1", 12, ("min_size", '"total" or "count"')),
        ("limit = 0.7", 'limit = 0.7\ninclusive = "yes"', 12, ("inclusive", '"yes"', "true")),
        ("limit = 0.7", "limit = 0\ninclusive = true", 11, ("limit is 0",)),
        ('kind = "simple"', 'kind = "guardd"', 5, ('"guardd"', 'Did you mean "guarded"?')),
        ('kind = "simple"', 'kind = "custom"', 4, ("guard_factor is missing",)),
        ('kind = "simple"', 'kind = "simple"\nguard_factor = 2', 6, ("guard_factor is 2.0",)),
        ('kind = "simple"', 'kind = "custom"\nguard_factor = 11', 6, ("outside 0 to 10",)),
        ('id = "b"', 'id = "a"', 14, ('id "a" is used twice',)),
        ('id = "b"', "id = 7", 14, ("id is 7", "quotes")),
        ('id = "b"', 'id = " "', 14, ("id is empty",)),
        ('unit = "in"', 'unit = "inch"', 2, ('"inch"', '"mm", "in"')),
        ('unit = "in"', 'uint = "in"', 2, ('"uint"', 'Did you mean "unit"?')),
        ('unit = "in"', 'invented = "no"', 2, ("invented", '"no"')),
        ('unit = "in"', 'effective_date = "2031-13-01"', 2, ("effective_date", "2031-13-01")),
        ('unit = "in"', "notes = 4", 2, ("notes is 4",)),
        ('title = "Invented limits"', 'title = ""', 1, ("title is empty",)),
        ('title = "Invented limits"', "", 1, ('"title" is missing',)),
    ],
)  # fmt: skip
def test_a_fault_is_named_with_its_line(
    old: str, new: str, line: int, parts: tuple[str, ...]
) -> None:
    assert SMALL.count(old) == 1
    fault = _refused(SMALL.replace(old, new))
    assert str(fault).startswith(f"my.toml, line {line}: ")
    assert fault.remedy
    for part in parts:
        assert part in str(fault)


def test_broken_toml_names_its_line() -> None:
    fault = _refused(SMALL.replace("limit = 0.7", "limit = 0,7"))
    assert "line 11" in str(fault)
    assert "my.toml" in str(fault)


@pytest.mark.parametrize("text", ['title = "a"\ncriteria = []', 'title = "a"\ncriteria = 3'])
def test_criteria_must_be_tables(text: str) -> None:
    assert "line 2" in str(_refused(text))
    assert "[[criteria]]" in str(_refused(text))


def test_lines_are_found_behind_texts_of_many_lines() -> None:
    text = SMALL.replace('unit = "in"', 'notes = """\nlimit = 1\n[[criteria]]\n"""\nunit="in"')
    fault = _refused(text.replace("limit = 0.7", "limit = -2"))
    assert str(fault).startswith("my.toml, line 15: limit is -2")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(LimitError, match="cannot be read"):
        read_limit_set(tmp_path / "none.toml")
    with pytest.raises(LimitError, match="cannot be read"):
        read_limit_set(tmp_path)
    file = tmp_path / "latin.toml"
    file.write_bytes('title = "Gr\u00f6\u00dfe"'.encode("latin-1"))
    with pytest.raises(LimitError, match="UTF-8"):
        read_limit_set(file)
    file.write_bytes(b"#" * 1_000_001)
    with pytest.raises(LimitError, match="1000001 bytes"):
        read_limit_set(file)
    file.write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())
    assert read_limit_set(file) == parse_limit_set(SMALL)


def test_the_demonstration_limits_are_plainly_invented() -> None:
    limits = parse_limit_set(demo_limit_set_text())
    assert limits.invented
    assert "not for any real part" in limits.title
    assert all(c.text.startswith("INVENTED") for c in limits.criteria)
    # None of the published example limits: 0.10 in, 25 %, 15 %, 10 %, 70 %.
    shipped = {round(c.base_limit, 3) for c in limits.criteria}
    assert not shipped & {2.54, 0.1, 25.0, 15.0, 10.0, 70.0, 30.0}
    assert limits.effective_date == "2031-03-09"


def test_an_unchanged_set_leaves_its_file_unchanged() -> None:
    text = demo_limit_set_text()
    assert limit_set_to_toml(parse_limit_set(text), previous_text=text) == text


def test_a_change_keeps_comments() -> None:
    text = demo_limit_set_text()
    limits = parse_limit_set(text)
    first, second, *others = limits.criteria
    new = Criterion(id="new", text="free height", quantity="free_height", limit=1.5, unit="in",
                    statistic="smallest", direction="min")  # fmt: skip
    changed = replace(
        limits,
        criteria=(*others, replace(second, limit=70.3), new),
        decision=DecisionRule.of("custom", 2.5),
        notes="",
    )
    written = limit_set_to_toml(changed, previous_text=text)
    assert parse_limit_set(written) == changed
    assert "# shorter cracks are not counted" in written
    assert "# INVENTED NUMBERS." in written
    assert first.id not in written
    assert "Every number here is made up" not in written


def test_a_set_is_written_without_a_file_before() -> None:
    limits = parse_limit_set(SMALL)
    assert parse_limit_set(limit_set_to_toml(limits)) == limits
    with pytest.raises(LimitError, match="not valid TOML"):
        limit_set_to_toml(limits, previous_text="= 3")


def test_plain_form_comes_back_equal() -> None:
    limits = parse_limit_set(demo_limit_set_text())
    assert LimitSet.from_dict(limits.to_dict()) == limits
    with pytest.raises(LimitError, match="cannot be read"):
        LimitSet.from_dict({"title": "a"})
    with pytest.raises(LimitError, match="cannot be read"):
        LimitSet.from_dict({**limits.to_dict(), "colour": 1})


def test_each_quantity_can_be_limited_in_each_allowed_way() -> None:
    names = [k.name for k in quantities()]
    assert len(names) == len(set(names))
    assert {"crack_depth", "free_height", "height_loss", "stiffness_retention"} <= {
        k.name for k in hand_quantities()
    }
    for kind in quantities():
        for statistic in kind.statistics:
            direction = "min" if statistic == "smallest" else "max"
            if direction not in kind.directions:
                continue
            text = (
                f'title = "t"\n[[criteria]]\nid = "i"\ntext = "x"\nquantity = "{kind.name}"\n'
                f'statistic = "{statistic}"\ndirection = "{direction}"\nlimit = 3.7\n'
            )
            criterion = parse_limit_set(text).criteria[0]
            assert criterion.statistic == statistic
            assert criterion.kind is quantity_kind(kind.name)
            assert criterion.unit == {"count": "1", "share": "%"}.get(statistic, kind.unit)


def test_unknown_quantity_is_refused() -> None:
    with pytest.raises(LimitError, match='Did you mean "recess"'):
        quantity_kind("reces")
