"""What check says is foretold: only of what the plant has, and with the sensors that it wants."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from analytics.outlooks.promised import promised
from analytics.plant.description import Measure, Plant
from analytics.plant.parsing import parse_plant

JUNIPER = (Path(__file__).parent.parent / "plant" / "juniper.toml").read_text()


def without(*gone: Measure) -> Plant:
    plant = parse_plant(JUNIPER, "p")
    return replace(plant, signals=tuple(one for one in plant.signals if one.measures not in gone))


def test_each_forecast_names_what_it_wants() -> None:
    said = dict(promised(without(Measure.STORAGE_LEVEL, Measure.LINE_PRESSURE)))
    assert said["days to empty rain"].startswith("Needs the level")
    assert said["days to flush"] == said["weeks to top-up"] == "Needs line pressure and a motor signal."


def test_a_flush_is_foretold_early_by_the_drop_and_late_without() -> None:
    bare = without(Measure.DISCHARGE_PRESSURE)
    assert "outlet would show it sooner" in dict(promised(bare))["days to flush"]
    signal = replace(bare.signals[0], name="outlet", measures=Measure.DISCHARGE_PRESSURE)
    assert (
        "the drop across" in dict(promised(replace(bare, signals=(*bare.signals, signal))))["days to flush"]
    )


def test_nothing_is_foretold_of_what_is_not_there() -> None:
    plant = replace(without(), filter=None, storages=(), pressure_tank=None)
    assert promised(plant) == []


def test_samples_a_minute_apart_promise_little() -> None:
    plant = without()
    far = replace(plant, signals=tuple(replace(one, every_s=60.0) for one in plant.signals))
    assert "60 s apart, unless on change, seldom" in dict(promised(far))["weeks to top-up"]
