"""What a slow signal said in a beat, its drop-outs and overflow codes left out.

Gauges of level, air and conductivity drop to nothing or leap to an overflow code for a lone word.
Where a beat's words lie further apart than the signal can have moved, the mean of their middle half
stands for them: a quarter of the words may be wild (the interquartile mean, a textbook L-estimator).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from analytics.seeing.beats import Span


def unspiked(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Each sample as the middle of itself and its neighbours: a lone wild word is gone, a step stays.

    (..., N) in and out; the ends take their neighbour's. Fewer than three are left as they are.
    """
    if value.shape[-1] < 3:
        return value
    a, b, c = value[..., :-2], value[..., 1:-1], value[..., 2:]
    inner = np.maximum(np.minimum(a, b), np.minimum(np.maximum(a, b), c))
    return np.concatenate((inner[..., :1], inner, inner[..., -1:]), axis=-1)


def unpaired(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Each sample as the middle of itself and two neighbours each way: two wild words in a row are gone too.

    (N,) in, (N,) out; the two at each end take the next one's. Fewer than five are left as they are.
    """
    if len(value) < 5:
        return value
    inner = np.sort(np.lib.stride_tricks.sliding_window_view(value, 5), axis=1)[:, 2]
    return np.concatenate((inner[:1], inner[:1], inner, inner[-1:], inner[-1:]))


def middle(span: Span, apart: float) -> float:
    """Mean of a beat's good samples; of their middle half where they lie further apart than `apart`.

    `span` holds one sample at least. Of two, either may be the wild one: their mean.
    """
    if span.high - span.low <= apart or span.count < 3:
        return span.mean
    values = sorted(span.value.tolist())
    cut = (len(values) + 3) // 4
    kept = values[cut : len(values) - cut] or values[cut - 1 : len(values) - cut + 1]
    return float(sum(kept) / len(kept))
