"""The plant file: what a good one means, and that every mistake of a bad one is told in its place."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analytics.plant.description import Measure
from analytics.plant.parsing import Mistake, PlantErrors, parse_plant
from analytics.plant.signals import KEYS as SIGNAL_KEYS
from analytics.plant.tables import TABLES, TOP

HERE = Path(__file__).parent
JUNIPER = (HERE / "juniper.toml").read_text()  # the contract's example, word for word
CASES = tomllib.loads((HERE / "bad_plants.toml").read_text())["case"]


def spoiled(case: dict[str, Any]) -> str:
    """The good file with the case's mistake in it."""
    text = JUNIPER
    if "add" in case:
        text = f"{text}\n{case['add']}"
    elif "only" in case:
        text = text.replace(case["old"], case["new"]).replace("[[signal]]", case["only"])
    else:
        assert case["old"] in text, "the case no longer fits the file"
        text = text.replace(case["old"], case["new"], 1)
    return text.replace("\n[pump]", f"{case['top']}\n\n[pump]") if "top" in case else text


def test_the_contracts_example_is_read_in_si() -> None:
    plant = parse_plant(JUNIPER, "juniper-bench")
    assert (plant.name, plant.title, plant.display_units) == ("juniper-bench", "Juniper Bench", "us")
    assert plant.timezone == "America/Boise"
    assert plant.altitude_m == pytest.approx(4600 * 0.3048)
    assert plant.switch is not None
    assert plant.switch.cut_in_pa == pytest.approx(206_842.7, abs=0.05)  # NIST SP 811: psi 6.894757 E+03
    assert plant.pressure_tank is not None
    assert plant.pressure_tank.volume_m3 == pytest.approx(44 * 3.785412e-3, rel=1e-6)  # SP 811: US gal
    assert plant.pump.rated_power_w == pytest.approx(0.75 * 745.6999, rel=1e-6)  # SP 811: hp (550 ft lbf/s)
    assert plant.pump.rated_flow_m3_s == pytest.approx(9 * 6.309020e-5, rel=1e-6)  # SP 811: gal/min
    assert plant.pump.running_above_measures is Measure.PUMP_CURRENT
    (rain,) = plant.storages
    assert (rain.name, rain.warn_ahead_s) == ("rain", 3 * 86_400)
    assert rain.volume_at(rain.full_level_m) == pytest.approx(rain.volume_m3)
    assert plant.catchment is not None
    assert plant.catchment.area_m2 == pytest.approx(1800 * 0.09290304)
    assert [signal.name for signal in plant.signals] == ["pressure", "motor"]
    assert plant.signals[0].to_si(30) == pytest.approx(206_842.7, abs=0.05)
    assert plant.remarks == ()


def test_little_is_required() -> None:
    plant = parse_plant(
        'version = 1\ntimezone = "UTC"\n[[signal]]\nname = "t"\nmeasures = "pump_running"\ntopic = "a"', "p"
    )
    assert (plant.title, plant.display_units, plant.altitude_m) == ("p", "metric", 0.0)
    assert plant.switch is plant.pressure_tank is plant.filter is plant.catchment is None


def test_the_only_storage_need_not_be_named() -> None:
    level = '[[signal]]\nname = "level"\nmeasures = "storage_level"\ntopic = "l"\nunit = "ft of water"'
    with pytest.raises(PlantErrors, match="length"):
        parse_plant(f"{JUNIPER}\n{level}", "p")
    plant = parse_plant(f"{JUNIPER}\n{level.replace(' of water', '')}", "p")
    assert plant.signals[-1].of == "rain"


def test_raw_signals_take_their_calibration() -> None:
    volts = 'unit = "V"\ncalibration = [[0.5, "0 A"], [4.5, "20 A"]]'
    motor = parse_plant(JUNIPER.replace('unit = "A"', volts), "p").signals[1]
    assert motor.raw
    assert motor.to_si([0.5, 2.5, 4.5]) == pytest.approx([0, 10, 20])
    assert motor.from_si(motor.to_si([0.1, 1.7])) == pytest.approx([0.1, 1.7])
    counts = parse_plant(JUNIPER.replace('unit = "A"', volts.split("\n")[1]), "p").signals[1]
    assert counts.raw
    assert counts.unit is None
    amps = parse_plant(JUNIPER.replace('unit = "A"', volts.replace('"V"', '"mA"')), "p").signals[1]
    assert not amps.raw


def test_what_is_accepted_with_a_word() -> None:
    overcharged = parse_plant(JUNIPER.replace('"28 psi"', '"35 psi"'), "p")
    assert len(overcharged.remarks) == 1
    assert "cut-in" in overcharged.remarks[0]
    no_current = JUNIPER.replace('measures = "pump_current"', 'measures = "pump_power"').replace('"A"', '"W"')
    plant = parse_plant(no_current, "p")
    assert plant.pump.running_above is None
    assert "running_above" in plant.remarks[0]


def test_every_table_of_the_contract_at_once() -> None:
    """Mistakes do not hide each other."""
    bad = JUNIPER.replace('"30 psi"', '"30 gal"').replace('"44 gal"', "44").replace("Boise", "Bosie")
    bad = bad.replace('"7 ft"', '"1 in"').replace("0.85", "85").replace('"A"', '"x"')
    with pytest.raises(PlantErrors) as caught:
        parse_plant(bad, "p")
    found = [mistake.key_path for mistake in caught.value.mistakes]
    assert found == [
        "timezone",
        "switch.cut_in",
        "pressure_tank.volume",
        "storage.rain.full_level",
        "catchment.runoff",
        "signal[2].unit",
    ]
    assert len(str(caught.value).splitlines()) == len(found)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_one_mistake_is_told_in_its_place(case: dict[str, Any]) -> None:
    text = spoiled(case)
    with pytest.raises(PlantErrors) as caught:
        parse_plant(text, "p")
    told = [mistake for mistake in caught.value.mistakes if mistake.key_path == case["path"]]
    assert told, f"told instead: {caught.value}"
    for words in case["says"]:
        assert words in str(told[0])
    if case.get("on") == "":
        assert told[0].line is None
    else:
        wanted = case.get("on", case["path"].rpartition(".")[2] + " ")
        if "on" not in case and case["path"].count(".") + case["path"].count("[") == 0:
            wanted = case["path"]
        assert told[0].line is not None
        assert (
            "\n".join(text.split("\n")[told[0].line - 1 :]).lstrip("[").startswith(wanted.strip().lstrip("["))
        )


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_no_mistake_is_told_twice(case: dict[str, Any]) -> None:
    with pytest.raises(PlantErrors) as caught:
        parse_plant(spoiled(case), "p")
    paths = [mistake.key_path for mistake in caught.value.mistakes]
    assert len(set(paths)) == len(paths)


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ('version = 1\ntitle = "open\n', 2, "not TOML"),
        ("version = 1\nversion = 1\n", 2, "not TOML"),
        ("[a]\n[a]\n", 2, "not TOML"),
        ("a = [", 1, "not TOML"),
        ("a = " + "9" * 5000, None, "digits"),
        ("a = " + "[" * 5000, None, "nested"),
        ("#" * 1_000_001, None, "longer"),
    ],
    ids=["string", "key twice", "table twice", "end", "digits", "depth", "length"],
)
def test_what_is_not_toml(text: str, line: int | None, says: str) -> None:
    with pytest.raises(PlantErrors) as caught:
        parse_plant(text, "p")
    (mistake,) = caught.value.mistakes
    assert mistake.line == line
    assert says in mistake.message


def test_a_newer_version_is_judged_no_further() -> None:
    with pytest.raises(PlantErrors) as caught:
        parse_plant(JUNIPER.replace("version = 1", 'version = 2\nnovelty = "x"'), "p")
    assert [mistake.key_path for mistake in caught.value.mistakes] == ["version"]


def test_a_record_tells_signals_on_one_topic_apart() -> None:
    """Two signals without a pointer on one topic need a SenML record each."""
    shared = JUNIPER.replace('"bench/pumphouse/amps"', '"bench/pumphouse/pressure"')
    one = shared.replace('name = "motor"', 'name = "motor"\nrecord = "amps"')
    with pytest.raises(PlantErrors, match="names no record"):
        parse_plant(one, "p")
    both = one.replace('name = "pressure"', 'name = "pressure"\nrecord = "psi"')
    assert [signal.record for signal in parse_plant(both, "p").signals] == ["psi", "amps"]
    with pytest.raises(PlantErrors, match=r"signal\[1\] is on this topic"):
        parse_plant(both.replace('"amps"', '"psi"'), "p")


def test_lines_of_values_that_span_several() -> None:
    """A mistake below a long array or text is on its own line, and one within is on the array's."""
    table = 'strapping = [\n  ["0 in", "0 gal"], # empty\n\n  ["84 in",\n   "3000 gla"],\n]'
    text = JUNIPER.replace('title = "Juniper Bench" ', 'title = """[pump]\nJuniper"""')
    text = text.replace('warn_ahead = "3 days"', f'{table}\nwarn_ahead = "3 gal"')
    text = text.replace("runoff = 0.85", "runoff = 2")
    by_path = {mistake.key_path: mistake.line for mistake in mistakes_of(text)}
    begins = {line.split(" =")[0]: at for at, line in enumerate(text.split("\n"), 1)}
    assert by_path == {
        "title": begins["title"],
        "storage.rain.strapping[2][2]": begins["strapping"],
        "storage.rain.warn_ahead": begins["warn_ahead"],
        "catchment.runoff": begins["runoff"],
    }


def test_a_text_that_is_slow_to_search_is_given_up() -> None:
    text = 'version = 1\ntimezone = "Nowhere"\nx = [\n' + "1,\n" * 200_000 + "]\n"
    assert {mistake.key_path for mistake in mistakes_of(text)} == {"timezone", "x", "signal"}


# -- whatever is written, only PlantErrors comes out ------------------------------------------------

VALUES = st.recursive(
    st.one_of(
        st.booleans(),
        st.integers(-(2**63), 2**63 - 1),
        st.floats(),
        st.text(max_size=20),
        st.from_regex(r"-?[0-9]{1,3}(\.[0-9])? ?[A-Za-z%°/^*0-9 ]{0,8}", fullmatch=True),
        st.sampled_from(["1 psi", "2 bar", "3 gal", "1 s", "UTC", "line_pressure", "storage_level", "us"]),
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=5,
)
KEYS = {key.name for keys in (TOP, SIGNAL_KEYS, *(table.keys for table in TABLES)) for key in keys}
NAMES = st.sampled_from(sorted(KEYS | {"version", "signal", "rain"} | {table.name for table in TABLES}))
DOCUMENTS = st.dictionaries(NAMES, VALUES | st.dictionaries(NAMES, VALUES, max_size=5), max_size=8)


def toml(value: Any) -> str:
    """A value as TOML, inline."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return "nan" if math.isnan(value) else repr(value).replace("e+", "e")
    if isinstance(value, int):
        return str(value)
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(char):08x}" for char in value) + '"'
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    return "{" + ", ".join(f"{toml(key)} = {toml(inner)}" for key, inner in value.items()) + "}"


def mistakes_of(text: str) -> list[Mistake]:
    """The mistakes of a text; none where it is a sound plant file."""
    try:
        parse_plant(text, "p")
    except PlantErrors as errors:
        return errors.mistakes or pytest.fail("refused without a reason")
    return []


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(DOCUMENTS, st.lists(st.dictionaries(NAMES, VALUES, max_size=6), max_size=3))
def test_any_table_is_a_plant_or_mistakes(tables: dict[str, Any], signals: list[dict[str, Any]]) -> None:
    lines = ["version = 1", *(f"{key} = {toml(value)}" for key, value in tables.items() if key != "version")]
    lines += [f"signal = {toml(signals)}"] if "signal" not in tables else []
    assert all(mistake.message for mistake in mistakes_of("\n".join(lines)))


@given(st.text())
def test_any_text_is_a_plant_or_mistakes(text: str) -> None:
    with pytest.raises(PlantErrors):
        parse_plant(text, "p")


@given(st.data())
def test_a_damaged_file_is_a_plant_or_mistakes(data: st.DataObject) -> None:
    start = data.draw(st.integers(0, len(JUNIPER)))
    end = data.draw(st.integers(start, min(start + 40, len(JUNIPER))))
    text = JUNIPER[:start] + data.draw(st.text(max_size=10)) + JUNIPER[end:]
    assert all(str(mistake) for mistake in mistakes_of(text))
