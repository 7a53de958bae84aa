"""Times ahead as a person says them."""

from __future__ import annotations

import pytest

from analytics import words
from analytics.judging.cycling_words import sentence


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (2.4, 11.0, "2 to 11 days"),
        (0.1, 0.9, "2 to 22 hours"),
        (0.8, 4.2, "19 hours to 4 days"),
        (3.1, 3.3, "3 days"),
        (0.0, 0.01, "1 hour"),
        (40.0, 730.0, "40 days to more than a year"),
        (500.0, 730.0, "more than a year"),
    ],
)
def test_a_band_says_its_unit_once_and_never_from_less_to_less(low: float, high: float, said: str) -> None:
    """It said "less than a day (less than a day to less than a day)"."""
    assert words.band(low, high) == said


def test_days_are_hours_while_they_are_few() -> None:
    assert words.days(0.3) == "7 hours"
    assert words.days(12.4) == "12 days"
    assert words.days(700.0) == "more than a year"


def test_what_is_to_be_expected_is_said_only_where_it_is_more() -> None:
    """It said "only 2 minutes at a time; 2 minutes is to be expected"."""
    assert "110 seconds at a time; 149 seconds is" in sentence(110.0, 149.0, (4, None), "lost_air_charge", ())
    assert "to be expected" not in sentence(110.0, 115.0, (4, None), "lost_air_charge", ())
