"""Payloads: bare numbers, JSON Pointers (RFC 6901), SenML packs (RFC 8428); and rubbish."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.plant import senml
from analytics.plant.parsing import parse_plant
from analytics.plant.payload import LARGEST, MOST_REJECTS, Decoder

NOW = 1_900_000_000_000_000
PLANT = parse_plant((Path(__file__).parent / "payload_plant.toml").read_text(), "p")
DECODER = Decoder(PLANT)
INDEX = {signal.name: at for at, signal in enumerate(PLANT.signals)}

Row = tuple[str, int, float]


def rows(topic: str, payload: bytes | str | list[object], received_us: int = NOW) -> list[Row]:
    """Readings as (signal, time, value); a list is sent as JSON. Fails where anything was rejected."""
    found, reasons = both(topic, payload, received_us)
    assert reasons == []
    return found


def reasons(topic: str, payload: bytes | str | list[object]) -> list[str]:
    """Reasons of the rejects; fails where anything was read."""
    found, told = both(topic, payload)
    assert found == []
    return told


def both(
    topic: str, payload: bytes | str | list[object], received_us: int = NOW
) -> tuple[list[Row], list[str]]:
    if isinstance(payload, list):
        payload = json.dumps(payload)
    raw = payload.encode() if isinstance(payload, str) else payload
    decoded = DECODER.decode(topic, raw, received_us)
    names = [PLANT.signals[at].name for at in decoded.readings.signal]
    read = list(zip(names, decoded.readings.time_us, decoded.readings.value, strict=True))
    return read, [reject.reason for reject in decoded.rejects]


# -- bare values ------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["41.2", " 41.2\r\n", "+41.2", "4.12e1", '"41.2"', "41.20"])
def test_a_bare_number(text: str) -> None:
    assert rows("p/pressure", text) == [("pressure", NOW, 41.2)]


@pytest.mark.parametrize(
    ("text", "value"), [("1", 1), ("0", 0), ("true", 1), ("FALSE", 0), ("On\n", 1), ('"off"', 0), ("1.0", 1)]
)
def test_a_running_contact(text: str, value: float) -> None:
    assert rows("p/running", text) == [("running", NOW, value)]


@pytest.mark.parametrize(
    ("topic", "text", "says"),
    [
        ("p/pressure", "", "empty"),
        ("p/pressure", "   ", "empty"),
        ("p/pressure", "abc", "not a number"),
        ("p/pressure", "41,2", "comma"),
        ("p/pressure", "1.234,5", "not a number"),
        ("p/pressure", "nan", "finite"),
        ("p/pressure", "-inf", "finite"),
        ("p/pressure", "1e999", "finite"),
        ("p/pressure", "4_1", "not a number"),
        ("p/pressure", "0x29", "not a number"),
        ("p/pressure", "٤١", "not a number"),
        ("p/pressure", "41.2 psi", "not a number"),
        ("p/pressure", "5" + " " * 90 + "x", "not a number"),
        ("p/pressure", "true", "not a number"),
        ("p/pressure", "null", "not a number"),
        ("p/running", "2", "neither 0 nor 1"),
        ("p/running", "yes", "neither on nor off"),
        ("p/weather", "5", "pointer"),
        ("p/pack", "5", "several signals"),
        ("nobody", "5", "no signal"),
    ],
)
def test_what_a_bare_payload_may_not_be(topic: str, text: str, says: str) -> None:
    (told,) = reasons(topic, text)
    assert says in told


def test_a_calibration_is_applied_to_what_is_not_raw() -> None:
    """Stored values are in the declared unit; a raw signal's stay raw until `to_si`."""
    assert rows("p/calibrated", "2.5") == [("calibrated", NOW, pytest.approx(50.0))]
    assert rows("p/calibrated", "5.0") == [("calibrated", NOW, pytest.approx(112.5))]
    assert rows("p/volts", "2.5") == [("volts", NOW, 2.5)]
    assert PLANT.signals[INDEX["volts"]].to_si(2.5) == pytest.approx(50 * 6894.757, rel=1e-6)


# -- JSON Pointer -----------------------------------------------------------------------------------


def test_values_by_pointer() -> None:
    document = '{"rain": [{"in": 0.1}], "air": {"deg/F": "50"}, "pump": true}'
    assert rows("p/weather", document) == [
        ("rain", NOW, 0.1),
        ("air", NOW, 50.0),
        ("pump", NOW, 1.0),
    ]


def test_a_document_of_another_kind_is_no_mistake() -> None:
    assert rows("p/weather", '{"air": {"deg/F": 50}}') == [("air", NOW, 50.0)]


def test_pointers_that_all_lead_nowhere() -> None:
    told = reasons("p/weather", '{"rain": [], "air": 5}')
    assert len(told) == 3
    assert told[0] == "rain: nothing at /rain/0/in"


@pytest.mark.parametrize(
    ("value", "says"),
    [
        ("null", "null"),
        ('"wet"', "not a number"),
        ("true", "true or false"),
        ("{}", "not a number"),
        ("[1]", "not a number"),
        ('"1e999"', "finite"),
        ('"0,1"', "comma"),
        ("1" * 400, "too large"),
    ],
)
def test_a_pointed_value_that_is_none(value: str, says: str) -> None:
    told = reasons("p/weather", f'{{"rain": [{{"in": {value}}}]}}')
    assert says in told[0]


def test_rfc_6901_section_5() -> None:
    """The RFC's own document and pointers, those of them that lead to numbers (from memory)."""
    document = {"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, 'k"l': 6}
    document |= {" ": 7, "m~n": 8}
    wanted = {"/": 0, "/a~1b": 1, "/c%d": 2, "/e^f": 3, "/g|h": 4, "/i\\j": 5, '/k"l': 6, "/ ": 7, "/m~0n": 8}
    signals = "\n".join(
        f"[[signal]]\nname = 's{at}'\nmeasures = 'line_pressure'\ntopic = 't'\nunit = 'Pa'\n"
        f"pointer = '{pointer}'"
        for at, pointer in enumerate(wanted)
    )
    decoder = Decoder(parse_plant(f"version = 1\ntimezone = 'UTC'\n{signals}", "p"))
    decoded = decoder.decode("t", json.dumps(document).encode(), NOW)
    assert decoded.readings.value == list(wanted.values())


# -- SenML ------------------------------------------------------------------------------------------


def test_senml_single_record() -> None:
    """RFC 8428, 5.1.1: [{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]."""
    found = rows("p/temperature", [{"n": "urn:dev:ow:10e2073a01080063", "u": "Cel", "v": 23.1}])
    assert found == [("temperature", NOW, pytest.approx(23.1 * 1.8 + 32))]


def test_senml_base_name_base_time_and_relative_times() -> None:
    """RFC 8428, 5.1.2, the third example: six currents, five of them before the base time."""
    pack = [
        {
            "bn": "urn:dev:ow:10e2073a0108006:",
            "bt": 1.276020076001e09,
            "bu": "A",
            "bver": 5,
            "n": "voltage",
            "u": "V",
            "v": 120.1,
        },
        {"n": "current", "t": -5, "v": 1.2},
        {"n": "current", "t": -4, "v": 1.3},
        {"n": "current", "t": -3, "v": 1.4},
        {"n": "current", "t": -2, "v": 1.5},
        {"n": "current", "t": -1, "v": 1.6},
        {"n": "current", "v": 1.7},
    ]
    base = 1_276_020_076_001_000
    wanted = [("current", base + (at - 5) * 1_000_000, pytest.approx(1.2 + at / 10)) for at in range(6)]
    assert rows("p/pack", pack) == wanted


def test_senml_other_sensors_are_passed_over() -> None:
    """RFC 8428, 5.1.3 in shape: one name, several units; only what can be a temperature is ours."""
    pack = [
        {"bn": "urn:dev:ow:10e2073a01080063", "bt": 1.320067464e09, "bu": "%RH", "v": 20},
        {"u": "lon", "v": 24.30621},
        {"u": "Cel", "t": 60, "v": 20.3},
        {"u": "lat", "t": 60, "v": 60.07965},
    ]
    assert rows("p/temperature", pack) == [
        ("temperature", 1_320_067_524_000_000, pytest.approx(68.54)),
    ]


@pytest.mark.parametrize(
    ("record", "time_us"),
    [
        ({}, NOW),
        ({"t": 0}, NOW),
        ({"t": -60}, NOW - 60_000_000),
        ({"t": 60.5}, NOW + 60_500_000),
        ({"t": 2**28 - 1}, NOW + (2**28 - 1) * 1_000_000),
        ({"t": 2**28}, 2**28 * 1_000_000),  # RFC 8428, 4.5.3: absolute from here
        ({"bt": 2**28, "t": -1}, NOW + (2**28 - 1) * 1_000_000),
        ({"bt": 1.9e9, "t": 0.125}, 1_900_000_000_125_000),
    ],
)
def test_senml_times(record: dict[str, float], time_us: int) -> None:
    assert rows("p/pressure", [{"n": "x", "v": 1, **record}]) == [("pressure", time_us, 1.0)]


def test_senml_base_value_and_base_sum() -> None:
    pack = [
        {"bn": "x", "bv": 40, "bs": 100, "v": 1.5},
        {"v": -2},
        {"bv": 30, "v": 1},
        {"s": 5},  # a sum without a value
    ]
    assert [value for _, _, value in rows("p/pressure", pack)] == [41.5, 38.0, 31.0]


def test_senml_base_value_alone() -> None:
    """RFC 8428, 4.5.4 (from memory): of base value and value the missing one is taken for zero."""
    assert rows("p/pressure", [{"bn": "x", "bv": 40}, {"t": 1}]) == [("pressure", NOW + 1_000_000, 40.0)]


def test_senml_base_unit_is_overridden_by_the_record() -> None:
    pack = [{"bn": "x", "bu": "kPa", "v": 100}, {"u": "Pa", "v": 100_000}, {"u": "psi", "v": 3}, {"v": 200}]
    assert [value for _, _, value in rows("p/pressure", pack)] == pytest.approx(
        [14.50377, 14.50377, 3, 29.00754], rel=1e-6
    )


@pytest.mark.parametrize(
    ("topic", "unit", "value", "wanted"),
    [
        # The SenML registry's symbols (RFC 8428, 12.1) and secondary units (RFC 8798).
        ("p/temperature", "Cel", 100, 212),
        ("p/temperature", "K", 273.15, 32),
        ("p/pressure", "Pa", 6894.757, 1),
        ("p/pressure", "hPa", 68.94757, 1),
        ("p/flow", "m3/s", 6.30902e-5, 1),
        ("p/flow", "l/s", 6.30902e-2, 1),
        ("p/amps", "mA", 1500, 1.5),
        ("p/volts", "mV", 2500, 2.5),
        ("p/level", "m", 0.3048, 12),
        ("p/level", "cm", 30.48, 12),
        ("p/level", "mm", 304.8, 12),
        ("p/salt", "S/m", 0.14, 1400),
    ],
)
def test_senml_units(topic: str, unit: str, value: float, wanted: float) -> None:
    ((_, _, found),) = rows(topic, [{"n": "x", "u": unit, "v": value}])
    assert found == pytest.approx(wanted, rel=1e-5)


def test_senml_booleans() -> None:
    pack = [{"n": "x", "vb": True}, {"n": "x", "vb": False, "t": 1}, {"n": "x", "vs": "on", "t": 2}]
    assert [value for _, _, value in rows("p/running", pack)] == [1.0, 0.0, 1.0]


def test_senml_names() -> None:
    """Several signals on a topic: each takes the records called as it, and no others."""
    for name in ("current", "urn:dev:1:current", "dev/current", "dev-1.current"):
        assert rows("p/pack", [{"n": name, "v": 1}]) == [("current", NOW, 1.0)]
    assert rows("p/pack", [{"bn": "dev1", "n": "current", "v": 1}]) == [("current", NOW, 1.0)]
    assert "line_current" in reasons("p/pack", [{"n": "line_current", "v": 1}])[0]
    pack = [{"bn": "d:", "n": "suction", "u": "Pa", "v": 5}, {"n": "line", "v": 6}, {"n": "battery", "v": 3}]
    assert [row[0] for row in rows("p/pack", pack)] == ["inlet", "outlet"]


def test_senml_of_several_names_for_a_signal_alone() -> None:
    pack = [{"bn": "d:", "n": "pressure", "v": 40}, {"n": "battery", "v": 3}]
    assert rows("p/pressure", pack) == [("pressure", NOW, 40.0)]
    assert "battery" in reasons("p/pressure", [{"n": "battery", "v": 3}, {"n": "light", "v": 9}])[0]


@pytest.mark.parametrize(
    ("pack", "says"),
    [
        ([], "no record"),
        ([1], "record 1: no object"),
        ([{"n": "x"}], "no record with a value"),
        ([{"v": 1}], "no name"),
        ([{"n": "x", "v": "1"}], "v is no number"),
        ([{"n": "x", "v": True}], "v is no number"),
        ([{"n": "x", "vb": 1}], "vb"),
        ([{"n": "x", "vd": "aGk"}], "binary"),
        ([{"n": "x", "v": 1, "vb": True}], "more than one value"),
        ([{"n": 5, "v": 1}], "n is no text"),
        ([{"n": "x", "v": 1, "t": "now"}], "t is no number"),
        ([{"n": "x", "v": 1, "t": 1e300}], "time"),
        ([{"n": "x", "v": 1, "t": -1e10}], "time"),
        ([{"n": "x", "bver": 11, "v": 1}], "version"),
        ([{"n": "x", "bver": "10", "v": 1}], "bver"),
        ([{"n": "x", "v": 1, "secret_": 5}], "must be understood"),
        ([{"n": "x", "u": "Cel", "v": 1}], "different kinds"),
        ([{"n": "x", "u": "nonsense", "v": 1}], "nonsense"),
        ([{"n": "x", "vb": True}], "true or false"),
        ([{"n": "x", "bv": 1e308, "v": 1e308}], "too large"),
        ([{"n": "x", "bv": 10**400, "v": 1}], "too large"),
        ([{"bn": "x", "bv": 10**400}, {"t": 1}], "too large"),
        ([{"n": "x", "v": 10**400}], "too large"),
        ([{"n": "x", "bt": 10**400, "v": 1}], "time"),
    ],
)
def test_packs_that_cannot_be_used(pack: list[object], says: str) -> None:
    assert says in reasons("p/pressure", pack)[0]


def test_secondary_units_are_a_known_feature() -> None:
    """RFC 9100: version 26 is RFC 8428 with RFC 8798's units; 42 asks for a feature unknown here."""
    assert rows("p/pressure", [{"n": "x", "bver": 26, "u": "hPa", "v": 1000}])
    assert "version" in reasons("p/pressure", [{"n": "x", "bver": 42, "v": 1}])[0]


def test_good_records_are_kept_beside_bad_ones() -> None:
    found, told = both("p/pressure", [{"n": "x", "v": 1}, {"n": "x", "v": "bad"}, {"n": "x", "v": 2, "t": 1}])
    assert [row[2] for row in found] == [1.0, 2.0]
    assert told == ["SenML: record 2: v is no number"]


# -- rubbish ----------------------------------------------------------------------------------------


def test_rejects_are_bounded() -> None:
    decoded = DECODER.decode("p/pressure", json.dumps(list(range(5000))).encode(), NOW)
    assert len(decoded.rejects) == MOST_REJECTS
    assert str(5000 - MOST_REJECTS + 1) in decoded.rejects[-1].reason
    assert all(len(reject.excerpt) <= 81 for reject in decoded.rejects)


@pytest.mark.parametrize(
    ("payload", "says"),
    [
        (b"[" * 200_000, "nested"),
        (b'{"a":' * 100_000, "nested"),
        (b"{", "not JSON"),
        (b'{"a": NaN}', "not JSON"),
        (b'[{"n":"x","v":1e999}]', "not JSON"),
        (b'{"\xff": 1}', "not JSON"),
        (b"1" * (LARGEST + 1), "larger"),
        (b"\x00\x01\x02", "not a number"),
    ],
    ids=["arrays", "objects", "cut", "nan", "huge", "bytes", "size", "binary"],
)
def test_hostile_payloads(payload: bytes, says: str) -> None:
    assert says in reasons("p/pressure", payload)[0]


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=8,
)
FIELDS = st.sampled_from(
    ["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vb", "vs", "vd", "s", "t", "x_"]
)
PACKS = st.lists(
    st.dictionaries(FIELDS, JSON | st.sampled_from(["Pa", "V", "current"]), max_size=5), max_size=4
)


@given(
    st.sampled_from([*DECODER.topics, "nobody"]),
    st.binary(max_size=60)
    | st.text(max_size=30).map(str.encode)
    | (JSON | PACKS).map(json.dumps).map(str.encode),
    st.integers(0, 2**52),
)
def test_anything_is_readings_or_rejects(topic: str, payload: bytes, received_us: int) -> None:
    decoded = DECODER.decode(topic, payload, received_us)
    assert len(decoded.readings.signal) == len(decoded.readings.time_us) == len(decoded.readings.value)
    for at, value in zip(decoded.readings.signal, decoded.readings.value, strict=True):
        assert PLANT.signals[at].topic == topic
        assert abs(value) < float("inf")
    for reject in decoded.rejects:
        assert reject.reason
        assert reject.excerpt.isprintable()
        assert len(reject.excerpt) <= 81


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_finite_number_comes_through_exactly(value: float) -> None:
    assert rows("p/pressure", repr(value)) == [("pressure", NOW, value)]
    assert rows("p/pressure", [{"n": "x", "v": value}]) == [("pressure", NOW, value)]


PLAIN_FIELDS = st.fixed_dictionaries(
    {"n": st.sampled_from(["pressure", "urn:dev:1:pressure", "", "Ü"])},
    optional={
        "v": st.one_of(
            st.integers(), st.floats(allow_nan=False, allow_infinity=False), st.booleans(), st.none()
        ),
        "u": st.sampled_from(["Pa", "bar", "", None, 3]),
        "t": st.one_of(st.integers(-10, 2 * 10**10), st.floats(0, 2e9), st.just("now")),
        "bt": st.just(1.7e9),
        "vs": st.just("on"),
    },
)


@given(st.lists(PLAIN_FIELDS, max_size=4), st.integers(0, 2 * 10**15))
def test_plain_packs_are_read_as_any_pack(pack: list[dict[str, object]], received_us: int) -> None:
    text = json.dumps(pack).encode()
    fast = senml.plain_records(text, received_us)
    if fast is not None:
        assert (fast, []) == senml.records(json.loads(text), received_us)


def test_a_plain_pack_takes_the_short_way() -> None:
    text = b'[{"n": "pressure", "u": "Pa", "t": 1.7e9, "v": 250000}]'
    assert senml.plain_records(text, 0) == [
        senml.Record("pressure", "pressure", "Pa", 250_000.0, 1_700_000_000_000_000)
    ]
