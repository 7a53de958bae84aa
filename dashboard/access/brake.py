"""The brake on guessing: so many tries at once, then one every so often; never locked for good.

A bucket of tries for each key, refilled with time. Own code in forty lines, because the library for
it (limits, under Flask-Limiter) keeps a counter for every address for ever or until a timer thread
comes by, and brings three packages more. Here the number of keys is bounded: the one longest unused
is forgotten.
"""

from __future__ import annotations

import ipaddress
import threading
from collections import OrderedDict


class Brake:
    """`burst` tries at once for a key, then one every `every_s`; at most `most` keys are kept."""

    def __init__(self, burst: int, every_s: float, most: int = 2048) -> None:
        self.burst, self.every_s, self.most = burst, every_s, most
        self._held: OrderedDict[str, tuple[float, float]] = OrderedDict()  # key -> (tries left, as of)
        self._lock = threading.Lock()

    def take(self, key: str, now_s: float) -> float:
        """Use one try; returns 0, or the seconds to wait for the next."""
        with self._lock:
            left, as_of = self._held.pop(key, (float(self.burst), now_s))
            left = min(self.burst, left + max(0.0, now_s - as_of) / self.every_s)
            wait = 0.0 if left >= 1 else (1 - left) * self.every_s
            self._held[key] = (left - 1 if wait == 0 else left, now_s)
            while len(self._held) > self.most:
                self._held.popitem(last=False)
            return wait

    def give_back(self, key: str) -> None:
        """A try that succeeded was none: the bucket is full again."""
        with self._lock:
            self._held.pop(key, None)

    def __len__(self) -> int:
        return len(self._held)


def network(address: str) -> str:
    """What counts as one asker: an IPv4 address, an IPv6 network of 64 bits (one house has all of it)."""
    try:
        one = ipaddress.ip_address(address)
    except ValueError:
        return address
    if one.version == 6:
        if one.ipv4_mapped is not None:
            return str(one.ipv4_mapped)
        return str(ipaddress.ip_network(f"{one}/64", strict=False))
    return str(one)
