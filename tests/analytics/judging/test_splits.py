"""A motor's word that drops out while the pump runs on: a loose contact, and no switch that flutters."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from analytics.judging.reference import reference
from analytics.judging.signature import Signature
from analytics.judging.splits import Splits, note
from analytics.records import Cycle
from analytics.seeing.events import Run
from analytics.seeing.water import Water
from tests.analytics import traces
from tests.analytics.faults.test_dry_or_burst import HOUR, draws, told

PSI = traces.PSI
DRAWS = draws(*[step for hour in range(60) for step in ((hour, 12.0), (hour + 0.3, 0.0))])
LOOSE_S = 30 * HOUR


def heard(every_s: float, drops: float, **changes: Any) -> set[tuple[str, str | None]]:
    trace = traces.Trace(demand=DRAWS, every_s=every_s, **changes)
    true = traces.run(trace, 60 * HOUR, seed=5)
    late = (true["t"] >= LOOSE_S) & (np.random.default_rng(7).random(len(true["t"])) < drops)
    true["amps"][late] = 0.0
    found = told(traces.plant(trace), traces.readings(trace, 0.0, 5, true))
    return {(finding.fault, finding.cause) for finding in found}


@pytest.mark.parametrize(("every_s", "drops"), [(1.0, 0.02), (1.0, 0.1), (5.0, 0.1)])
def test_a_loose_contact_is_named_and_no_flutter(every_s: float, drops: float) -> None:
    assert heard(every_s, drops) == {("sensor_fault", "implausible")}


def test_a_switch_that_flutters_as_it_closes_is_no_loose_contact() -> None:
    found = heard(1.0, 0.0, chatter=traces.after(LOOSE_S, 1.0, 0.0))
    assert found == {("short_cycling", "switch_chatter")}


def splits(
    rest_s: float,
    left_psi: float,
    start_psi: float,
    every_s: float = 1.0,
    before_s: float = 40.0,
    for_s: float = 30.0,
) -> int:
    plant = traces.plant()
    usual, found = reference(plant, Water.of(plant), Signature()), Splits()
    first = Cycle(0, int(before_s * 1e6), before_s, 900.0, 30 * PSI, left_psi * PSI)
    start_us = int((before_s + rest_s) * 1e6)
    second = Cycle(start_us, start_us + int(for_s * 1e6), for_s, rest_s, start_psi * PSI, 50 * PSI)
    for cycle in (first, second):
        note(found, Run(cycle.stop_us, cycle, True, every_s, edges_s=every_s), usual)
    return found.lately(second.stop_us)


def test_what_goes_on_amid_the_band_is_a_split() -> None:
    assert splits(1.0, 40.0, 40.2) == 1


@pytest.mark.parametrize(
    "other",
    [
        {"rest_s": 5.0},  # long enough to have been off
        {"left_psi": 49.0, "start_psi": 49.0},  # where the switch opens
        {"start_psi": 35.0},  # drawn from meanwhile
        {"for_s": 3.0},  # a tank without air, up to cut-out and back amid the band between two words
        {"before_s": 5.0},  # a contact that bounces as it closes
        {"every_s": 30.0, "rest_s": 30.0},  # nobody knows where pressure was
    ],
)
def test_what_a_switch_may_have_done_is_none(other: dict[str, float]) -> None:
    assert splits(**({"rest_s": 1.0, "left_psi": 40.0, "start_psi": 40.2} | other)) == 0


def chain(first_s: float, pieces: int, piece_s: float) -> int:
    """A run that begins at cut-in with a spell of `first_s`, and of which shorter ones follow, each a word
    after the last, while pressure goes up amid the band."""
    plant = traces.plant()
    usual, found = reference(plant, Water.of(plant), Signature()), Splits()
    at_us, left_psi, rest_s = 0, 30.0, 900.0
    for spell_s in (first_s, *[piece_s] * pieces, 40.0):
        stop_us, stop_psi = at_us + int(spell_s * 1e6), left_psi + 0.15 * spell_s
        cycle = Cycle(at_us, stop_us, spell_s, rest_s, left_psi * PSI, stop_psi * PSI)
        note(found, Run(stop_us, cycle, True, 1.0, edges_s=1.0), usual)
        at_us, left_psi, rest_s = stop_us + 1_000_000, stop_psi, 1.0
    return found.lately(at_us)


def test_a_switch_that_flutters_for_half_a_minute_as_it_closes_splits_no_run() -> None:
    assert chain(1.0, 16, 1.0) == 0  # up by a seventh of the band when it holds at last
    assert chain(18.0, 16, 1.0) > 0  # held before: no switch lets go there
