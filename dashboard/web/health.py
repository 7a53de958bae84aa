"""`/health`: for machines that look after machines. It needs no sign-in and so says nothing of a plant.

200 while the daemon lives, reaches its broker, can store, and every plant was heard within a quarter of
an hour; 503 otherwise. Either way the dashboard answers, which says that it lives itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from flask import Response, json

from collector.live.clock import AHEAD_US
from collector.live.pulse import SILENT_US, read_pulse
from collector.store.errors import HistoryError
from dashboard.site import now_us

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from collector.live.pulse import Pulse
    from dashboard.site import Site

#: The slowest sensors worth having speak every few minutes.
SILENT_S = 900.0


def health(sites: Iterable[Site], data: Path) -> Response:
    at_us = now_us()
    pulse = read_pulse(data)
    daemon, age_s = daemon_state(pulse, at_us), newest_age_s(sites, at_us)
    storing = pulse is None or not pulse.trouble
    told = {
        "ok": daemon == "alive" and storing and age_s is not None and age_s <= SILENT_S,
        "daemon": daemon,
        "storing": storing,
        "pulse_age_s": None if pulse is None else round((at_us - pulse.time_us) / 1e6, 1),
        "newest_reading_age_s": None if age_s is None else round(age_s, 1),
    }
    return Response(json.dumps(told) + "\n", 200 if told["ok"] else 503, mimetype="application/json")


def daemon_state(pulse: Pulse | None, at_us: int) -> str:
    """ "alive", "cut off" from its broker, "gone", or "unknown" where none has run on this folder."""
    if pulse is None:
        return "unknown"
    if not pulse.running or at_us - pulse.time_us > SILENT_US:
        return "gone"
    return "alive" if pulse.connected else "cut off"


def newest_age_s(sites: Iterable[Site], at_us: int) -> float | None:
    """Age of the newest reading of the plant that was heard longest ago; None where one never was."""
    ages: list[float] = []
    for site in sites:
        try:
            latest = site.history.latest(at_us + AHEAD_US)
        except HistoryError:
            return None
        if not latest:
            return None
        ages.append((at_us - max(sample.time_us for sample in latest.values())) / 1e6)
    return max(ages, default=None)
