"""The plant file: TOML text in the owner's units to a `Plant` in SI, or every mistake at once.

Keys and tables are listed in `tables` and `signals`; here they are walked.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from typing import Any

from analytics.plant import consistency
from analytics.plant.description import Plant, Signal
from analytics.plant.location import line_of, lines_of_keys
from analytics.plant.mistakes import Mistake, Mistakes, PlantErrors
from analytics.plant.signals import MOST_SIGNALS, read_signal
from analytics.plant.table import Fields, Key, Table
from analytics.plant.tables import DEFAULTS, TABLES, TOP, read_keys

#: The newest version of the format that this parser reads.
VERSION = 1

#: Far beyond any real plant file, and short of what would keep a parser busy.
LONGEST_TEXT = 1_000_000

_SIGNAL = "signal"
_PLACE = re.compile(r"\(at line (\d+), column \d+\)|\(at end of document\)")


def parse_plant(text: str, name: str) -> Plant:
    """The plant described by `text`; `name` is the file's stem. PlantErrors holds every mistake."""
    document = _toml(text, name)
    mistakes = Mistakes()
    plant = _read(document, name, mistakes) if _version_is_ours(document, mistakes) else None
    if mistakes.found or plant is None:
        raise PlantErrors(name, _placed(mistakes, text))
    return plant


def _toml(text: str, name: str) -> dict[str, Any]:
    if len(text) > LONGEST_TEXT:
        raise PlantErrors(name, [Mistake(None, "", "", "", f"longer than {LONGEST_TEXT} characters")])
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise PlantErrors(name, [Mistake(None, "", "", "", "arrays or tables nested too deeply")]) from None
    except ValueError as error:
        place = _PLACE.search(str(error))
        line = int(place[1]) if place and place[1] else text.count("\n") + 1 if place else None
        said = _PLACE.sub("", str(error)).strip() if place else "a number of too many digits"
        accepted = "TOML, as at https://toml.io/en/v1.0.0"
        raise PlantErrors(name, [Mistake(line, "", "", accepted, f"not TOML: {said}")]) from error


def _version_is_ours(document: Fields, mistakes: Mistakes) -> bool:
    """A file of a later version is judged no further: its other keys may be quite right there."""
    version = document.get("version")
    accepted = f"version = {VERSION}"
    if version is None:
        mistakes.add(("version",), "missing; it is required", accepted=accepted)
    elif isinstance(version, bool) or not isinstance(version, int) or version < 1:
        mistakes.add(("version",), "not a version", value=version, accepted=accepted)
    elif version > VERSION:
        told = f"written for a newer Holdwater; this one reads version {VERSION}: update it, or"
        mistakes.add(("version",), f"{told} write the file for version {VERSION}", value=version)
        return False
    return True


def _read(document: Fields, name: str, mistakes: Mistakes) -> Plant | None:
    """The plant, or None after a mistake; walks everything whatever it meets."""
    sections = {table.name: document[table.name] for table in TABLES if table.name in document}
    top = {key: value for key, value in document.items() if key not in {*sections, _SIGNAL, "version"}}
    known = (*TOP, *(Key(table, table, _never) for table in ("version", _SIGNAL, *(t.name for t in TABLES))))
    fields = read_keys(known, top, (), mistakes)
    drafts: dict[str, Fields] = {}
    for table in TABLES:
        if table.name in sections:
            fields[table.field], drafts[table.name] = _section(table, sections[table.name], mistakes)
    raws = _signal_tables(document.get(_SIGNAL), mistakes)
    signals = [read_signal(raw, (_SIGNAL, at), mistakes) for at, raw in enumerate(raws)]
    remarks = _agreed(document, raws, drafts, fields, mistakes)
    if mistakes.found:
        return None
    storages = [storage.name for storage in fields.get("storages", ())]
    fields["signals"] = tuple(consistency.with_storage(signal, storages) for signal in signals if signal)
    return Plant(**({"title": name} | DEFAULTS | fields), name=name, remarks=remarks)


def _never(value: Any, path: Any, mistakes: Mistakes) -> None:
    raise AssertionError("tables are read elsewhere")


def _section(table: Table, value: Any, mistakes: Mistakes) -> tuple[Any, Fields]:
    """What a table makes (None after a mistake), and its fields as far as they could be read."""
    if not isinstance(value, dict):
        header = f"[{table.name}.NAME]" if table.named else f"[{table.name}]"
        mistakes.add((table.name,), "not a table", value=value, accepted=header)
        return None, {}
    if not table.named:
        return _one(table, value, (table.name,), mistakes)
    made = []
    for name, inner in value.items():
        path = (table.name, name)
        if not isinstance(inner, dict):
            told = f"each {table.name} has a name of its own"
            mistakes.add(path, told, accepted=f"the key in a table such as [{table.name}.rain]")
        elif not name.strip() or not name.isprintable() or len(name) > 64:
            mistakes.add(path, "not a name", value=name, accepted="a short name, such as rain")
        else:
            made.append(_one(table, inner, path, mistakes, name=name)[0])
    return tuple(made), value


def _one(
    table: Table, value: Fields, path: tuple[str, ...], mistakes: Mistakes, **more: str
) -> tuple[Any, Fields]:
    before = len(mistakes.found)
    fields = read_keys(table.keys, value, path, mistakes)
    if table.check:
        table.check(fields, value, path, mistakes)
    return table.makes(**fields, **more) if len(mistakes.found) == before else None, fields


def _signal_tables(value: Any, mistakes: Mistakes) -> list[Fields]:
    """The [[signal]] tables as written."""
    accepted = "one [[signal]] table for each sensor"
    if value is None or value == []:
        mistakes.add((_SIGNAL,), "missing; without a signal there is nothing to listen to", accepted=accepted)
    elif not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
        mistakes.add((_SIGNAL,), "written with double brackets", value=value, accepted=accepted)
    elif len(value) > MOST_SIGNALS:
        mistakes.add((_SIGNAL,), f"more than {MOST_SIGNALS} signals", accepted=accepted)
    else:
        return value
    return []


def _agreed(
    document: Fields, raws: list[Fields], drafts: dict[str, Fields], fields: Fields, mistakes: Mistakes
) -> tuple[str, ...]:
    """Checks across tables; ties `running_above` to its signal. Returns the remarks."""
    storages = list(drafts.get("storage", {}))
    consistency.check_names(raws, mistakes)
    consistency.check_topics(raws, mistakes)
    consistency.check_storage_of(raws, storages, mistakes)
    consistency.check_sources(drafts.get("sources", {}), raws, storages, mistakes)
    consistency.check_compensation(raws, mistakes)
    tank = drafts.get("pressure_tank", {})
    charged = document["pressure_tank"].get("precharge") if tank else None
    charge = consistency.check_precharge(tank, drafts.get("switch", {}), charged, mistakes)
    running = None
    if fields.get("pump"):
        written = document["pump"].get("running_above")
        fields["pump"], running = consistency.place_running_above(fields["pump"], written, raws)
    return tuple(remark for remark in (charge, running) if remark)


def _placed(mistakes: Mistakes, text: str) -> list[Mistake]:
    """The mistakes with their lines, in the order of the file; those with no line come last."""
    lines = lines_of_keys(text)
    placed = [replace(mistake, line=line_of(path, lines)) for path, mistake in mistakes.found]
    return sorted(placed, key=lambda mistake: mistake.line or len(text))


__all__ = ["VERSION", "Mistake", "PlantErrors", "Signal", "parse_plant"]
