"""Units and words. Factors are checked against NIST SP 811 (2008), appendix B, from memory."""

from __future__ import annotations

import math

import pytest

from dashboard.telling import display


@pytest.mark.parametrize(
    ("si", "kind", "units", "text"),
    [
        (344_737.9, "pressure", "us", "50 psi"),  # 1 psi = 6.894757 kPa
        (344_737.9, "pressure", "metric", "3.4 bar"),
        (3.785411784e-3, "volume", "us", "1 gal"),  # 1 US gal = 3.785412 L
        (6.30902e-5, "flow", "us", "1.0 gpm"),  # 1 gpm = 6.309020e-5 m3/s
        (1e-3 / 60, "flow", "metric", "1.0 L/min"),
        (0.3048, "level", "us", "1.0 ft"),
        (0.0, "temperature", "us", "32 °F"),
        (100.0, "temperature", "us", "212 °F"),
        (-40.0, "temperature", "metric", "−40 °C"),
        (0.1, "conductivity", "metric", "1.00 dS/m"),
        (-0.0001, "pressure", "us", "0 psi"),
    ],
)
def test_quantities_in_the_owners_units(si: float, kind: str, units: display.Units, text: str) -> None:
    assert str(display.show(si, kind, units)) == text


@pytest.mark.parametrize("nothing", [None, math.nan, math.inf])
def test_what_is_not_known_is_said_and_never_zero(nothing: float | None) -> None:
    assert str(display.show(nothing, "pressure", "us")) == "unknown"
    assert str(display.volume(nothing, "us")) == "unknown"


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (9.1, "9.1 s"),
        (72, "72 s"),
        (121, "121 s"),
        (840, "14 min"),
        (3 * 3600, "3.0 h"),
        (30 * 3600, "30 h"),
        (4 * 86_400, "4 days"),
        (math.inf, "for ever"),
        (None, "unknown"),
    ],
)
def test_spans_as_people_say_them(seconds: float | None, words: str) -> None:
    assert display.duration(seconds) == words


def test_days_and_clocks_are_the_owners() -> None:
    # 2026-05-12 20:00 UTC is 14:00 in Boise (daylight time, UTC-6)
    now = 1_778_616_000_000_000
    assert display.moment(now, now, "America/Boise") == "today 14:00"
    assert display.day(now - 86_400_000_000, now, "America/Boise") == "yesterday"
    assert display.day(now - 3 * 86_400_000_000, now, "America/Boise") == "Saturday"
    assert display.day(now - 400 * 86_400_000_000, now, "America/Boise") == "7 April 2025"
    # 05:00 UTC of the 12th is still the 11th there
    assert display.day(now - 15 * 3_600_000_000, now, "America/Boise") == "yesterday"
