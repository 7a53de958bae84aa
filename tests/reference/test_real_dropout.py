"""A real meter that goes mad: the whole-house flow of WEUSEDTO-Data, August 2020.

Source: A. Di Mauro, S. Venticinque, G. F. Santonastaso and A. Di Nardo, github.com/AnnaDiMauro/WEUSEDTO-Data
at ddaf518, CC BY 4.0: 68 rows copied, seconds since
1598525772 (Unix) and flow [mL/s] as the authors give it, nothing changed. The last 38, of 27 August from
16:00 UTC on, swing between -81 and +171 m3/s: no house's. Those before are a quiet afternoon.
"""

from __future__ import annotations

import numpy as np

from analytics.engine import Engine
from analytics.plant.parsing import parse_plant
from analytics.readings import Readings
from analytics.records import Finding

START_S = 1598525772
SOUND = [
    (0, 0), (652, 0), (1276, 0), (1879, 0),
    (2489, 0), (3098, 0), (3701, 0), (4305, 0),
    (4914, 0), (5523, 0), (6130, 0), (6738, 0),
    (7345, 0), (7950, 0), (8551, 0), (9152, 0),
    (9759, 0), (10365, 0), (10974, 0), (11582, 0),
    (12186, 0), (12793, 0), (13398, 0), (14005, 0),
    (14614, 0), (15216, 0), (15818, 0), (16419, 0),
    (17025, 0), (17627, 0),
]  # fmt: skip
MAD = [
    (18231, 1.89088e06), (18240, 1.41536e08), (18338, -1.29982e07), (18347, 1.41536e08),
    (18445, -1.29982e07), (18456, 1.15802e08), (18558, -1.24885e07), (18568, 1.27382e08),
    (18665, -1.31322e07), (18674, 1.41536e08), (18683, 0), (21830, 85298.8),
    (21849, -8.11715e07), (21858, 1.71362e08), (21959, -1.52699e07), (21970, 1.40205e08),
    (22068, -1.57373e07), (22077, 1.71362e08), (22177, -1.54226e07), (22188, 1.40205e08),
    (22286, -1.57373e07), (22295, 1.71362e08), (22395, -1.54226e07), (22405, 1.54226e08),
    (22502, -1.58996e07), (22511, 1.71362e08), (22611, -1.54226e07), (22620, 1.71362e08),
    (22718, -1.57373e07), (22727, 1.71362e08), (22825, -1.57373e07), (22834, 1.71362e08),
    (22931, -1.58996e07), (22941, 1.54226e08), (23041, -1.54226e07), (23050, 1.71362e08),
    (23147, -1.58996e07), (23158, 1.40205e08),
]  # fmt: skip
FILE = """
version = 1
title = "An apartment in Naples"
display_units = "metric"
timezone = "Europe/Rome"

[[signal]]
name = "flow"
measures = "supply_flow"
topic = "house/flow"
unit = "mL/s"
"""


def found(rows: list[tuple[int, float]]) -> list[Finding]:
    """Findings of the rows; a tick at their end closes the last ten minutes."""
    plant = parse_plant(FILE, "apartment")
    at_s, value = np.array(rows).T
    time_us = ((START_S + at_s) * 1e6).astype(np.int64)
    readings = Readings.of(np.zeros(len(rows), np.int64), time_us, value)
    return list({one.key: one for one in Engine(plant).feed(readings).findings}.values())


def test_a_quiet_afternoon_is_no_fault() -> None:
    assert found(SOUND) == []


def test_words_no_meter_can_have_measured_are_out_of_range() -> None:
    mad = found(SOUND + MAD)
    assert [(one.fault, one.cause, one.of) for one in mad] == [("sensor_fault", "out_of_range", "flow")]
    assert mad[0].onset_us >= (START_S + MAD[0][0] - 600) * 1_000_000
