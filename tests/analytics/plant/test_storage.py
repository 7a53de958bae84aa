"""What a storage holds at a level: one at a time as many at once, by a table or by a straight wall."""

from __future__ import annotations

import pytest

from analytics.plant.description import Storage

#: A made-up upright tank with a tapering foot; its overflow at 1.8 m.
TABLE = ((0.0, 0.0), (0.3, 0.4), (1.0, 2.1), (1.8, 4.3))


@pytest.mark.parametrize("strapping", [(), TABLE])
def test_one_level_holds_what_it_holds_among_many(strapping: tuple[tuple[float, float], ...]) -> None:
    storage = Storage("rain", 4.3, 1.8, strapping=strapping)
    levels = [-0.1, 0.0, 0.15, 0.3, 0.77, 1.8, 2.5]
    assert [storage.held_m3(level) for level in levels] == pytest.approx(storage.volume_at(levels).tolist())


def test_water_above_the_overflow_is_none() -> None:
    assert Storage("rain", 4.3, 1.8, strapping=TABLE).held_m3(3.0) == 4.3
