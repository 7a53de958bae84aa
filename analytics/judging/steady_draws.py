"""Draws that stand for a while, by a flow meter after the tank: each as the opening that it goes out by.

Physics. What is open lets out q = c sqrt(P). Taken as c = q / sqrt(P), with the pressure at the tank beside
each word of the meter, a draw stays the same while the switch lets pressure go up and down, so that its
start, its end and a second tap beside it show as steps. What runs all day beneath (a leak) is taken off.

Parameters:
    BIN_S     10 s        words closer together are averaged: a meter's noise is from word to word
    APART     0.05        of the draw, or NOISES 3 of the meter's noise if that is more; two bins in a row
                          further off are another draw: a tap that opens beside a zone adds more than that
    LEAST_S   90 s        and BINS 4: what is over sooner has no middle
    GAP_S     900 s       without a word: nobody knows what was drawn
    LEAST_PA  50 kPa      an empty line; a gauge's zero (1 % of 7 bar) errs there by a fourteenth of c
    LOW       0.1         of a beat's words lie below: what flows beneath all draws, the least of a day of it
    START     0.52 L/min  below it a meter's zero says nothing: the least flow that a house's meter is good
                          for (Q1 of Q3 2.5 m3/h, R 80; ISO 4064-1, from memory)

Source: orifice flow, any hydraulics text; no source for the parameters but those given.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import msgspec
import numpy as np

from analytics.physics.fits import median

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.seeing.beats import Span

BIN_S = 10.0
APART, NOISES = 0.05, 3.0
BINS, LEAST_S, GAP_S = 4, 90.0, 900.0
LEAST_PA = 5.0e4
LOW, LOW_HOURS, ENOUGH = 0.1, 24, 5
START_M3_S = 0.52 / 6e4
#: Median of the difference of two words whose noise is normal, over its deviation.
OF_A_DIFFERENCE = 0.95
LEARNED = 0.1  # a beat's part in what is known of the noise


class SteadyDraw(NamedTuple):
    from_s: float
    to_s: float
    opening: float  # m3/s/sqrt(Pa)


class Standing(msgspec.Struct):
    """Plain data. What stands as a beat ends."""

    draw: list[float] = []  # from s, sum of its bins, how many, newest s
    odd: list[float] = []  # the one bin after it that is another's: s, opening
    noise: float = 0.0  # of one bin's opening
    lows: list[list[float]] = []  # of each hour: its number, lowest flow [m3/s]
    flow: list[float] = []  # the newest word: s, m3/s
    pressure: list[float] = []  # likewise: s, Pa


def take_up(standing: Standing, flow: Span, pressure: Span | None, least: float) -> list[SteadyDraw]:
    """The draws of an opening of `least` and more that a beat brings to their end."""
    beneath, before = _beneath(standing, flow), standing.pressure
    _keep_newest(standing, flow, pressure)
    draws: list[SteadyDraw] = []
    if not (standing.draw or flow.high > START_M3_S):
        return draws
    at_s, flows, heads = _beside(before, flow, pressure)
    if not len(at_s):
        return draws
    seen = np.maximum(flows - beneath, 0.0) / np.sqrt(heads)
    first = np.flatnonzero(np.diff(at_s // BIN_S, prepend=-1.0))
    openings = np.asarray(np.add.reduceat(seen, first) / np.diff(first, append=len(at_s)))
    if not standing.draw and openings.max() < least:
        return draws
    _learn_noise(standing, openings, least)
    for second, opening in zip(at_s[first].tolist(), openings.tolist(), strict=True):
        _follow(standing, second, opening, least, draws)
    return draws


def _beneath(standing: Standing, flow: Span) -> float:
    """What has flowed all through the last day; it may have begun within it."""
    words = flow.value
    nth = int(LOW * len(words))
    low = float(np.partition(words, nth)[nth]) if len(words) >= ENOUGH else flow.low
    if standing.flow and len(words) < ENOUGH:
        low = min(low, standing.flow[1])
    hour = float(flow.times[flow.first_at] // 3_600_000_000)
    lows = standing.lows
    if lows and lows[-1][0] == hour:
        lows[-1][1] = min(lows[-1][1], low)
    else:
        standing.lows = [*(one for one in lows if hour - one[0] < LOW_HOURS), [hour, low]]
    return max(min(one[1] for one in standing.lows), 0.0)


def _keep_newest(standing: Standing, flow: Span, pressure: Span | None) -> None:
    standing.flow = [float(flow.times[flow.past - 1] * 1e-6), flow.last]
    if pressure is not None and pressure.count:
        standing.pressure = [float(pressure.times[pressure.past - 1] * 1e-6), pressure.last]


def _beside(
    before: list[float], flow: Span, pressure: Span | None
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Times [s], flows and pressures where both are known; `before`: pressure's newest word before these."""
    at_s, flows = flow.time_us * 1e-6, flow.value
    none = np.empty(0, np.float64)
    known_s, heads = (none, none) if pressure is None else (pressure.time_us * 1e-6, pressure.value)
    if before:
        known_s, heads = np.append(before[0], known_s), np.append(before[1], heads)
    if not len(known_s):
        return none, none, none
    heads = np.interp(at_s, known_s, heads)
    good = (heads > LEAST_PA) & (at_s < known_s[-1] + GAP_S)
    return at_s[good], flows[good], heads[good]


def _learn_noise(standing: Standing, openings: NDArray[np.float64], least: float) -> None:
    drawn = openings > least
    steps = np.abs(np.diff(openings))[drawn[1:] & drawn[:-1]]
    if len(steps) > ENOUGH:
        noise = median(steps) / OF_A_DIFFERENCE
        standing.noise += (noise - standing.noise) * (LEARNED if standing.noise else 1.0)


def _follow(standing: Standing, at_s: float, opening: float, least: float, draws: list[SteadyDraw]) -> None:
    """One bin more."""
    if standing.draw and at_s - standing.draw[3] > GAP_S:
        _end(standing, standing.draw[3], draws)
    if not standing.draw:
        standing.draw = [at_s, opening, 1.0, at_s] if opening > least else []
        return
    begun_s, whole, count, _ = standing.draw
    middle = whole / count
    if abs(opening - middle) <= max(APART * middle, NOISES * standing.noise):
        standing.draw, standing.odd = [begun_s, whole + opening, count + 1.0, at_s], []
    elif not standing.odd:
        standing.odd = [at_s, opening]
    else:
        odd_s, odd = standing.odd
        _end(standing, odd_s, draws)
        _follow(standing, odd_s, odd, least, draws)
        _follow(standing, at_s, opening, least, draws)


def _end(standing: Standing, at_s: float, draws: list[SteadyDraw]) -> None:
    begun_s, whole, count, _ = standing.draw
    standing.draw, standing.odd = [], []
    if count >= BINS and at_s - begun_s >= LEAST_S:
        draws.append(SteadyDraw(begun_s, at_s, whole / count))
