"""The plant file's [[signal]] tables: what a signal measures decides how its other keys are read."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from analytics.plant.description import CONDUCTIVITY_MEASURES, Measure, Signal
from analytics.plant.dimensions import EXAMPLE, OF_MEASURE, Dimension
from analytics.plant.fields import (
    Reader,
    choice,
    did_you_mean,
    number,
    plain_number,
    quantity_of,
    rows_of,
    spellings,
    text,
)
from analytics.plant.mistakes import Mistakes, Path
from analytics.plant.table import Fields, Key
from analytics.plant.tables import read_keys
from analytics.plant.units import Unit, UnitError, unit

#: Signals are numbered by a small integer in `Readings`; nobody fits this many sensors.
MOST_SIGNALS = 1000


def _as_it_is(value: Any, _path: Path, _mistakes: Mistakes) -> Any:
    """Read later, once it is known what the signal measures."""
    return value


KEYS: tuple[Key, ...] = (
    # no "=", "+", "-" or "@" in front: an exported name must not be a formula to a spreadsheet
    Key(
        "name",
        "name",
        text('a short name, such as "pressure"', pattern=r"[^\s=+@＝＋－＠-](.*\S)?", longest=64),
        required=True,
    ),
    Key("measures", "measures", choice(*Measure), required=True),
    Key(
        "topic",
        "topic",
        text("one MQTT topic without the wildcards + and #, and not beginning with $", r"[^+#$][^+#]*", 1000),
        required=True,
    ),
    Key(
        "pointer",
        "pointer",
        text('an RFC 6901 JSON Pointer, such as "/ain/0/value"', r"(/([^~/]|~[01])*)*", 1000),
    ),
    Key("record", "record", text('the end of a SenML record\'s name, such as "pressure"')),
    Key("of", "of", text("the name of a [storage.NAME] table")),
    Key("every", "every_s", quantity_of(Dimension.TIME, above=0)),
    Key(
        "temperature_coefficient",
        "temperature_coefficient",
        number("a share for each degree above 0 and up to 0.05, such as 0.0191", above=0, most=0.05),
    ),
    Key("unit", "unit", _as_it_is),
    Key("calibration", "calibration", _as_it_is),
    Key("valid", "valid", _as_it_is),
)


def read_signal(value: Fields, path: Path, mistakes: Mistakes) -> Signal | None:
    """One signal, or None after a mistake."""
    before = len(mistakes.found)
    fields = read_keys(KEYS, value, path, mistakes)
    if "measures" not in fields:
        return None
    measure = fields["measures"] = Measure(fields["measures"])
    dimension = OF_MEASURE[measure]
    if dimension is None:
        _read_running(fields, path, mistakes)
    else:
        _read_calibration(fields, dimension, path, mistakes)
        _read_unit(fields, dimension, path, mistakes)
        _read_valid(fields, dimension, path, mistakes)
    if "of" in fields and measure is not Measure.STORAGE_LEVEL:
        mistakes.add((*path, "of"), "only a storage_level is of a storage", value=fields["of"])
    if "temperature_coefficient" in fields and measure not in CONDUCTIVITY_MEASURES:
        value = fields["temperature_coefficient"]
        mistakes.add((*path, "temperature_coefficient"), "only a conductivity has one", value=value)
    if "pointer" in fields and "record" in fields:
        mistakes.add((*path, "record"), "give a pointer (JSON) or a record (SenML), not both")
    return Signal(**fields) if len(mistakes.found) == before else None


def _read_running(fields: Fields, path: Path, mistakes: Mistakes) -> None:
    """pump_running is 0 or 1 and has neither unit nor limits."""
    if fields.get("unit") == "":
        del fields["unit"]
    for name in ("unit", "calibration", "valid"):
        if name in fields:
            mistakes.add((*path, name), "pump_running is on or off and has no such key", value=fields[name])


def _read_unit(fields: Fields, dimension: Dimension, path: Path, mistakes: Mistakes) -> None:
    """Sets si_factor and si_offset, or `raw` where a calibration turns another kind into ours."""
    at = (*path, "unit")
    accepted = f"a unit of {dimension}, such as that of {EXAMPLE[dimension]}"
    spelled = fields.get("unit")
    calibrated = "calibration" in fields
    if spelled is None and calibrated:  # bare counts of a converter
        fields["raw"] = True
        return
    if spelled is None:
        if not mistakes.told_of(at):
            mistakes.add(at, "missing; it is required", accepted=accepted)
        return
    try:
        if not isinstance(spelled, str):
            raise UnitError("not a unit")
        found: Unit = unit(spelled)
    except UnitError as error:
        near = did_you_mean(spelled, spellings(dimension)) if isinstance(spelled, str) else ""
        mistakes.add(at, f"{error}{near}", value=spelled, accepted=accepted)
        return
    fields["unit"] = spelled.strip()
    if found.dimension is dimension:
        fields |= {"si_factor": found.factor, "si_offset": found.offset}
    elif calibrated:
        fields["raw"] = True
    else:
        kind = f"a unit of {found.dimension}" if found.dimension else "a unit of another kind"
        wrong = f"{kind}, and there is no calibration to turn it into a {dimension}"
        mistakes.add(at, wrong, value=spelled, accepted=accepted)


def _read_calibration(fields: Fields, dimension: Dimension, path: Path, mistakes: Mistakes) -> None:
    if "calibration" not in fields:
        return
    example = EXAMPLE[dimension].split(" or ")[0]
    accepted = f"two or more pairs of raw value and {dimension}, such as [0.5, {example}]"
    at = (*path, "calibration")
    rows = rows_of(_raw_number, quantity_of(dimension), accepted)(fields["calibration"], at, mistakes)
    fields["calibration"] = rows or ()
    if not rows:
        return
    raws, quantities = zip(*sorted(rows), strict=True)
    if len(set(raws)) < len(raws):
        mistakes.add(at, "two points with one raw value", accepted=accepted)
        return
    steps = [b - a for a, b in pairwise(quantities)]
    if not (min(steps) > 0 or max(steps) < 0):
        mistakes.add(at, "the quantity must rise, or fall, all the way with the raw value", accepted=accepted)


def _raw_number(value: Any, path: Path, mistakes: Mistakes) -> float | None:
    found = plain_number(value)
    if found is None:
        mistakes.add(path, "the raw value is a bare number", value=value, accepted="a number such as 0.5")
    return found


def _read_valid(fields: Fields, dimension: Dimension, path: Path, mistakes: Mistakes) -> None:
    if "valid" not in fields:
        return
    at, value = (*path, "valid"), fields["valid"]
    example = EXAMPLE[dimension].split(" or ")[0]
    accepted = f"two quantities of {dimension}, the lower first, each such as {example}"
    if not isinstance(value, list) or len(value) != 2:
        mistakes.add(at, "not a pair", value=value, accepted=accepted)
        return
    read: Reader = quantity_of(dimension)
    low, high = (read(limit, (*at, place), mistakes) for place, limit in enumerate(value))
    if low is None or high is None:
        return
    if low >= high:
        mistakes.add(at, "the lower limit comes first", value=value, accepted=accepted)
    fields["valid"] = (low, high)
