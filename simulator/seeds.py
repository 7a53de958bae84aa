"""Randomness by purpose: the same seed and purpose give the same stream, whatever else is drawn."""

from __future__ import annotations

from zlib import crc32

import numpy as np


def stream(seed: int, *purpose: str | int) -> np.random.Generator:
    """A generator for one purpose of one simulation."""
    key = [word if isinstance(word, int) else crc32(word.encode()) for word in purpose]
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=tuple(key))))
