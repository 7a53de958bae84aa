"""What every fault of the contract's table promises, whichever it is: a fault added to the table is asked
the same before its author writes a test of it. The recordings are those of `recordings.py`."""

from __future__ import annotations

import json
import re
from math import isfinite

import numpy as np
import pytest

from analytics.advice import advice
from analytics.engine import Engine
from analytics.faults import FAULTS, coverage, module
from analytics.findings_json import finding_line
from analytics.records import Finding
from dashboard.telling.evidence import ENDINGS
from tests.analytics.contract.recordings import CASES, at_us, fitted, lines, own, recorded, told, whole
from tests.analytics.test_advice import CAUSES

#: The unit is the name's ending, and one that the pages know; a share or a count is of dimension one.
ENDS_IN_UNIT = tuple(ending for ending, _ in ENDINGS)
EVERY = pytest.mark.parametrize("fault", FAULTS)


def test_every_fault_of_the_table_has_a_recording() -> None:
    assert set(CASES) == set(FAULTS) == set(CAUSES)


@EVERY
def test_it_is_raised_once_after_it_began_and_cleared_once_it_is_over(fault: str) -> None:
    """Once: neither while it stands nor after its repair does it flap."""
    case, finding = CASES[fault], own(fault)
    assert at_us(case.since) <= finding.raised_us < at_us(case.until)
    assert finding.onset_us <= finding.raised_us
    assert finding.cleared_us is not None
    assert at_us(case.until) <= finding.cleared_us
    assert finding.cause in (case.cause, None)  # left open it may be, wrong it may not


@EVERY
def test_what_it_says_is_there_and_bounded(fault: str) -> None:
    """At every word, not only the last: each was once on somebody's phone."""
    plant, readings = recorded(fault)
    engine, heard = Engine(plant), list[Finding]()
    for a in range(0, len(readings), 5_000):
        heard += [one for one in engine.feed(readings[a : a + 5_000]).findings if one.fault == fault]
    assert heard
    for finding in heard:
        assert re.fullmatch(r"[A-Z0-9][^\n\t]{20,400}[.:]?\.", finding.summary), finding.summary
        assert not re.search(r"nan|inf\b|None|  ", finding.summary)
        assert finding.priority in ("high", "medium", "low")
        assert 0.5 <= finding.confidence <= 1.0
        assert 1 <= len(finding.evidence) <= 16
        for name, number in finding.evidence.items():
            assert name.startswith("with_") or name.endswith(ENDS_IN_UNIT), name
            assert isfinite(number), name
        line = finding_line(finding)
        assert len(line) < 2_000
        assert json.loads(line)["fault"] == fault


@EVERY
def test_there_is_a_first_step_and_no_step_is_a_book(fault: str) -> None:
    for cause in (None, *CAUSES[fault]):
        said = advice(fault, cause)
        assert 1 <= len(said.steps) <= 8
        for step in said.steps:
            assert 10 <= len(step.do) <= 300
            assert step.caution is None or 40 <= len(step.caution) <= 300


@EVERY
def test_a_restart_in_the_middle_of_it_changes_no_byte(fault: str) -> None:
    """Neither of what is said nor of what is kept."""
    plant, readings = recorded(fault)
    finding = own(fault)
    middle_us = (finding.raised_us + (finding.cleared_us or 0)) // 2
    cut = int(np.searchsorted(readings.time_us, middle_us))
    engine, found = Engine(plant), dict[tuple[str, str, int], Finding]()
    for part in (readings[:cut], readings[cut:]):
        found |= {one.key: one for one in engine.feed(part).findings}
        kept = engine.snapshot()
        engine = Engine.restore(plant, kept)
        assert engine.snapshot() == kept
        assert len(kept) < 500_000
    found |= {one.key: one for one in engine.finish().findings}
    assert lines(found) == lines(whole(fault))


@EVERY
def test_it_declares_what_it_can_show_and_shows_nothing_else(fault: str) -> None:
    """Without any one of the sensors, and with any one alone: where coverage says no, it is not raised."""
    plant, readings = recorded(fault)
    measures = [one.measures for one in plant.signals]
    assert coverage(plant)[fault].can
    refused = 0
    for kept in (*(set(measures) - {one} for one in measures), *({one} for one in measures)):
        less, some = fitted(plant, readings, kept)
        said = coverage(less)[fault]
        assert re.fullmatch(r"[A-Z][^\n]{10,200}\.", said.sentence)
        if not said.can:
            refused += 1
            assert fault not in {one.fault for one in told(less, [some]).values()}, kept
    assert refused or fault == "sensor_fault"


@EVERY
def test_its_file_says_what_it_is(fault: str) -> None:
    """The order of house-style.md: what fails, physics, what shows, confusions, parameters, source."""
    text = module(fault).__doc__ or ""
    found = [text.find(word) for word in ("fails", "hysics", "how", "istaken for", "arameters", "ource")]
    assert all(at > 0 for at in found), found
