"""Straight lines through many stretches of one series at once.

Least squares over each stretch, computed from that stretch's samples alone and always in the same
order, so that a stretch gives the same bits whatever else was computed in the same call.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

#: So many samples are gathered at a time, to bound memory.
BATCH = 2_000_000
#: Up to so many numbers are sorted quicker as a list.
SMALL = 32


class Lines(msgspec.Struct, frozen=True):
    """K fitted lines. NaN where there were too few samples (under 2; scatter under 3).

    count    samples in the stretch
    mean     mean value
    slope    per second
    scatter  root mean square about the line
    error    standard error of the slope, per second
    middle_us  mean time, from the stretch's first sample
    """

    count: NDArray[np.int64]
    mean: NDArray[np.float64]
    slope: NDArray[np.float64]
    scatter: NDArray[np.float64]
    error: NDArray[np.float64]
    middle_s: NDArray[np.float64]


def fit_lines(
    time_us: NDArray[np.int64],
    value: NDArray[np.float64],
    first: NDArray[np.int64],
    end: NDArray[np.int64],
    transform: Callable[[NDArray[np.float64]], NDArray[np.float64]] | None = None,
) -> Lines:
    """Fit value = mean + slope (t - middle) over each stretch [first, end) of positions.

    time_us, value: (N,); first, end: (K,). Empty stretches are allowed. `transform` is applied to
    the samples first, element by element.
    """
    count = np.maximum(end - first, 0)
    results = np.full((5, len(count)), np.nan)
    bounds = np.searchsorted(np.cumsum(count), np.arange(BATCH, count.sum() + BATCH, BATCH), side="left") + 1
    begin = 0
    for stop in sorted(set(np.minimum(bounds, len(count)).tolist())):
        some = np.arange(begin, stop)
        some = some[count[begin:stop] >= 2]
        if len(some):
            results[:, some] = _fit(time_us, value, first[some], count[some], transform)
        begin = stop
    return Lines(count, results[0], results[1], results[2], results[3], results[4])


def _fit(
    time_us: NDArray[np.int64],
    value: NDArray[np.float64],
    first: NDArray[np.int64],
    count: NDArray[np.int64],
    transform: Callable[[NDArray[np.float64]], NDArray[np.float64]] | None,
) -> NDArray[np.float64]:
    """(mean, slope, scatter, error, middle) of stretches that hold two samples or more."""
    begins, at_us, v = _gathered(time_us, value, first, count)
    t = (at_us - np.repeat(time_us[first], count)) * 1e-6
    v = v.copy() if transform is None else transform(v)
    middle = np.add.reduceat(t, begins) / count
    mean = np.add.reduceat(v, begins) / count
    t -= np.repeat(middle, count)
    v -= np.repeat(mean, count)
    spread = np.add.reduceat(t * t, begins)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.add.reduceat(t * v, begins) / spread
        t *= np.repeat(slope, count)
        v -= t
        v *= v
        squares = np.add.reduceat(v, begins)
        scatter = np.sqrt(squares / count)
        error = np.where(count > 2, np.sqrt(squares / (count - 2) / spread), np.nan)
    slope[spread == 0.0] = np.nan
    return np.stack((mean, slope, scatter, error, middle))


def _gathered(
    time_us: NDArray[np.int64],
    value: NDArray[np.float64],
    first: NDArray[np.int64],
    count: NDArray[np.int64],
) -> tuple[NDArray[np.intp], NDArray[np.int64], NDArray[np.float64]]:
    """The stretches one after the other: where each begins, times, values."""
    begins = np.cumsum(count) - count
    if len(first) == 1 or (first[1:] == first[:-1] + count[:-1]).all():  # so they stand already
        whole = slice(int(first[0]), int(first[-1] + count[-1]))
        return begins, time_us[whole], value[whole]
    bounds = zip(first.tolist(), (first + count).tolist(), strict=True)
    parts = [slice(a, b) for a, b in bounds]
    return (
        begins,
        np.concatenate([time_us[stretch] for stretch in parts]),
        np.concatenate([value[stretch] for stretch in parts]),
    )


def median(values: NDArray[np.float64]) -> float:
    """The median of finite numbers, one at least: as NumPy's, without its preparations for many axes."""
    count = len(values)
    half = count // 2
    if count <= SMALL:
        return _middle(sorted(values.tolist()))
    if count % 2:
        return float(np.partition(values, half)[half])
    low, high = np.partition(values, (half - 1, half))[half - 1 : half + 1].tolist()
    return float((low + high) / 2.0)


def medians(
    values: NDArray[np.float64], first: NDArray[np.int64], end: NDArray[np.int64]
) -> list[float | None]:
    """The median over each short stretch [first, end) of positions; None of an empty one."""
    bounds = zip(first.tolist(), end.tolist(), strict=True)
    return [median(values[a:b]) if b > a else None for a, b in bounds]


def highest(
    values: NDArray[np.float64], first: NDArray[np.int64], end: NDArray[np.int64]
) -> list[float | None]:
    """The highest over each stretch [first, end) of positions, which may overlap; None of an empty one."""
    some = end > first
    bounds = np.stack((first, np.maximum(end, 0)), axis=1).ravel()
    found = np.maximum.reduceat(np.append(values, -np.inf), np.minimum(bounds, len(values)))[::2]
    return [value if full else None for value, full in zip(found.tolist(), some.tolist(), strict=True)]


def _middle(ordered: list[float]) -> float:
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2.0
