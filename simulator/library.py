"""The scenarios that come with the program, and those an owner has written."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from simulator.scenario_file import parse_scenario

if TYPE_CHECKING:
    from analytics.plant.description import Plant
    from simulator.scenario import Scenario

_FOLDER = files("simulator") / "scenarios"
_PLANTS = files("simulator") / "plants"


def names() -> list[str]:
    """Names of the scenarios that come with the program, the healthy one first."""
    found = sorted(one.name.removesuffix(".toml") for one in _FOLDER.iterdir() if one.name.endswith(".toml"))
    return sorted(found, key=lambda name: name != "healthy")


def text_of(name: str) -> str:
    """The TOML of a named scenario, or of a scenario file by its path.

    `short_cycling` is as good as `short-cycling`. KeyError where there is no such scenario; OSError
    where a file cannot be read.
    """
    if name.endswith(".toml"):
        return Path(name).read_text(encoding="utf-8")
    plain = name.replace("_", "-")
    if plain not in names():
        raise KeyError(name)
    return (_FOLDER / f"{plain}.toml").read_text(encoding="utf-8")


def load_scenario(name: str, plant: Plant) -> Scenario:
    """A scenario by name or path, for one plant. KeyError, OSError or ScenarioErrors."""
    return parse_scenario(text_of(name), Path(name).stem.replace("_", "-"), plant)


def plant_text(name: str) -> str:
    """The plant file of a plant that comes with the program, such as "juniper-bench"."""
    return (_PLANTS / f"{name}.toml").read_text(encoding="utf-8")
