"""Scenario files: read as documented, mistakes told all at once."""

from __future__ import annotations

import pytest

from analytics.plant.description import Plant
from simulator import library, scenario_file
from simulator.scenario_file import ScenarioErrors, parse_scenario


@pytest.mark.parametrize("name", library.names())
def test_every_scenario_that_comes_with_the_program_fits_juniper_bench(juniper: Plant, name: str) -> None:
    scenario = library.load_scenario(name, juniper)
    assert scenario.title
    assert scenario.about.endswith(".")
    assert all(plan.from_s < scenario.days * 86_400 for plan in scenario.faults)


def test_the_documented_example_reads(juniper: Plant) -> None:
    """The example in the module's docstring is a scenario."""
    text = (scenario_file.__doc__ or "").split("\n\n", 1)[1]
    scenario = parse_scenario(text, "example", juniper)
    assert scenario.as_if == (6, 5)
    assert scenario.guests[0].amount == 3
    assert scenario.guests[0].from_s == 4 * 86_400
    assert scenario.dry
    assert scenario.sizes.garden_height_m == pytest.approx(3.6576)
    assert scenario.sensors[0].changes["noise"] == pytest.approx(0.3 * 6_894.757, rel=1e-6)
    assert scenario.faults[0].over_s == 4 * 86_400
    assert scenario.programmes[0].zone_s == 1_200


def test_all_mistakes_at_once(juniper: Plant) -> None:
    text = """
        version = 2
        colour = "blue"
        season = "13-45"
        [life]
        people = -1
        [hardware]
        line_length = "3 psi"
        [[programme]]
        start = "25:00"
        [[sensor]]
        signal = "nobody"
        [[fault]]
        fault = "gremlins"
        [[fault]]
        fault = "short_cycling"
        cause = "boredom"
        severity = 3
        from = "tomorrow"
    """
    with pytest.raises(ScenarioErrors) as caught:
        parse_scenario(text, "bad", juniper)
    told = "\n".join(caught.value.mistakes)
    for place in (
        *("version", "colour", "season", "life.people", "hardware.line_length", "programme[0].start"),
        *("sensor[0].signal", "fault[0].fault", "fault[1].cause", "fault[1].severity", "fault[1].from"),
    ):
        assert place + ":" in told, place
    assert "lost_air_charge" in told  # the values accepted
    assert "'boredom'" in told  # the value found


@pytest.mark.parametrize(
    "text", ["not toml [", "[[fault]\n", "fault = 3", "life = 4", "[fault]\n", "[[fault]]"]
)
def test_rubbish_is_refused(juniper: Plant, text: str) -> None:
    with pytest.raises(ScenarioErrors):
        parse_scenario(text, "x", juniper)


@pytest.mark.parametrize(("name", "lacks"), [("clogged-filter", "filter"), ("storage-leak", "storage")])
def test_what_the_plant_lacks_is_said(bare: Plant, name: str, lacks: str) -> None:
    with pytest.raises(ScenarioErrors, match=f"needs a {lacks}"):
        library.load_scenario(name, bare)


def test_the_bare_plant_runs(bare: Plant) -> None:
    from conftest import ran, runs

    from simulator.works.world import World

    world = World(bare, library.load_scenario("lost-prime", bare), 1, 1_780_272_000_000_000)
    trace = ran(world, 1)
    assert len(runs(trace)) > 3
    assert world.totals.from_well == pytest.approx(world.totals.supplied, rel=0.2)
