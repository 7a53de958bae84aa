"""Soil tests: those of the logbook and the plant file's, and the course expected between them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from analytics.garden.crop_salt import USUAL_CONCENTRATION
from dashboard.telling import display
from dashboard.telling.salt import ec
from dashboard.telling.waters import supply

if TYPE_CHECKING:
    from dashboard.site import Site
    from dashboard.telling.facts import Facts

FIGURE = "ece_s_m"
MOST = 40


@dataclass(frozen=True, slots=True)
class SoilTest:
    """A saturated extract's conductivity ECe, and when the soil was sampled."""

    time_us: int
    soil_s_m: float
    when: str
    words: str = ""


def latest(site: Site) -> list[SoilTest]:
    """Newest first."""
    found = []
    for entry in site.history.logbook(limit=MOST, kind="soil test"):
        value = entry.figures.get(FIGURE)
        if isinstance(value, int | float):
            when = display.local(entry.time_us, site.plant.timezone)
            found.append(SoilTest(entry.time_us, float(value), f"{when.day} {when:%B %Y}", entry.words))
    garden = site.plant.garden
    if garden is not None and garden.soil_salinity_s_m is not None and garden.soil_salinity_on is not None:
        on = garden.soil_salinity_on
        noon_us = int(datetime(on.year, on.month, on.day, 12, tzinfo=UTC).timestamp() * 1e6)
        found.append(
            SoilTest(noon_us, garden.soil_salinity_s_m, f"{on.day} {on:%B %Y}", "From the plant file.")
        )
    return sorted(found, key=lambda test: -test.time_us)


def course(site: Site, facts: Facts, tests: list[SoilTest]) -> list[tuple[str, str, str, str]]:
    """(when, found, expected, words) of each test, newest first. Expected is where the soil tends with
    the supply as it is now, FAO 29's 1.5 times the water's: what a next test should come nearer to."""
    now = supply(facts)
    tends = None if now is None or now.salt is None else now.salt.conductivity_s_m * USUAL_CONCENTRATION
    rows = []
    for number, test in enumerate(tests):
        before = tests[number + 1] if number + 1 < len(tests) else None
        rows.append((test.when, ec(test.soil_s_m), _expected(test, before, tends), test.words))
    return rows


def _expected(test: SoilTest, before: SoilTest | None, tends: float | None) -> str:
    if before is None or tends is None:
        return (
            "the first: nothing to hold it against"
            if before is None
            else "not known without the supply's reading"
        )
    way = "down" if tends < before.soil_s_m else "up"
    right = (test.soil_s_m < before.soil_s_m) == (tends < before.soil_s_m)
    return f"{way} from {ec(before.soil_s_m)} towards {ec(tends)}: {'so it went' if right else 'it did not'}"
