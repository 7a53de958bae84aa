"""What rests lose, from levels made up here: the error that is told against the scatter that is had."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.judging.balance import LevelStep
from analytics.outlooks.slope import QUARTER_US, Part, Slope, is_round_the_clock, since_each

BEAT_US = 600_000_000
SIGMA_M3 = 0.1
LOSS_M3_S = 0.05 / 3600.0


def level_step(at: int, before_m3: float, now_m3: float, shared: float) -> LevelStep:
    """Levels are cubic metres here."""
    change = now_m3 - before_m3
    return LevelStep(
        at * BEAT_US, (at + 1) * BEAT_US, now_m3, change, change, True, True, False, 0.0, 0.0, shared
    )


def lost(rng: np.random.Generator, words: int, rests: int = 12, beats: int = 6) -> Slope:
    """Rests of an hour, with a run between: each level the middle of the last three words, `words` of them
    new ones."""
    slope = Slope()
    for rest in range(rests):
        heard = SIGMA_M3 * rng.standard_normal(words * (beats + 1) + 3)
        levels = [
            float(np.median(heard[max(words * (at + 1) - 3, 0) : max(words * (at + 1), 3)]))
            - LOSS_M3_S * at * 600.0
            for at in range(beats + 1)
        ]
        for at in range(beats):
            slope.step(level_step(rest * 20 + at, levels[at], levels[at + 1], 3.0 / words), levels[at])
    return slope


@pytest.mark.parametrize("words", [1, 2, 3])
def test_error_is_the_scatter_that_is_had(words: int) -> None:
    """Words that levels in a row share make them scatter together: taken for independent, errors of one word
    a beat would be too small by half, and five of them three."""
    rng = np.random.default_rng(3)
    off = []
    for _ in range(400):
        slope = lost(rng, words)
        low, high = slope.bounds_m3_s(0.0, 3.0 / words, 1.0)
        off.append((slope.loss_m3_s - LOSS_M3_S) / (0.5 * (high - low)))
    assert abs(np.mean(off)) < 0.2
    assert 0.75 < np.std(off) < 1.25


def test_what_was_lost_is_told_since_each_part() -> None:
    """Two parts that lose nothing, and two that do: the newest two have it, all four half of it."""
    parts = []
    for quarter, loss in enumerate((0.0, 0.0, 1.0, 1.0)):
        part = Part(quarter * 36 * BEAT_US, 36 * 600.0, loss)
        for at in range(36):
            here = quarter * 36 + at
            part.slope.step(
                level_step(here, 5.0 - loss * at / 36, 5.0 - loss * (at + 1) / 36, 1.0), 5.0 - loss * at / 36
            )
            assert part.follows(level_step(here, 0.0, 0.0, 1.0))
        parts.append(part)
    newest, two, three, four = since_each(parts)
    assert [one.since_us // (36 * BEAT_US) for one in (newest, two, three, four)] == [3, 2, 1, 0]
    rate = 1.0 / (36 * 600.0)
    assert [one.slope.loss_m3_s for one in (newest, two, four)] == pytest.approx(
        [rate, rate, 0.5 * rate], rel=0.05
    )
    assert (four.quiet_s, four.lost_m3) == (4 * 36 * 600.0, 2.0)
    assert three.slope.freedom == 3 * 36 - 1


@pytest.mark.parametrize(
    ("losses", "always"),
    [
        ((5.0, 5.0, 5.0, 5.0), True),
        ((5.0, None, 3.0, None), True),  # 8 of the two's 1.4
        ((9.0, None, -6.0, None), False),  # it swings
        ((4.0, None, 0.5, None), None),  # it may
        ((5.0, 5.0, None, None), None),
        ((9.0, 9.0, 9.0, 0.0), False),
    ],
)
def test_a_loss_at_all_hours_is_sure_in_two_quarters_that_lie_opposite(
    losses: tuple[float | None, ...], always: bool | None
) -> None:
    """Each quarter's loss in its own standard errors; None: it was not seen."""
    parts = [
        Part(quarter * QUARTER_US, slope=Slope(stt=1.0, sty=-loss, syy=loss**2, freedom=9))
        for quarter, loss in enumerate(losses)
        if loss is not None
    ]
    assert is_round_the_clock(parts, 1.0, 1.0, 0.3) is always
