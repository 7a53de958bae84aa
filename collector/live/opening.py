"""The histories opened at the daemon's start, also where the disk is in the way at first."""

from __future__ import annotations

import logging
import time
from typing import TYPE_CHECKING, Protocol

from collector.live import clock
from collector.live.pulse import Pulse, read_pulse, write_pulse
from collector.store.errors import HistoryBusy, HistoryFull, HistoryUnreachable

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from collector.live.companion import Companion
    from collector.live.site import Site

log = logging.getLogger("holdwater.daemon")

_TRY_AGAIN_S = 5.0


class Opening(Protocol):
    """Opens one plant's history, as of now. Raises HistoryError."""

    def __call__(self, *, now_us: int) -> Site: ...


def opened(
    openings: Sequence[Opening], names: Sequence[str], data: Path, companion: Companion | None
) -> list[Site]:
    """All of them. A disk that is full or does not answer is waited for: an end would take the dashboard
    with it, which is where the owner learns of it; the broker keeps what comes. Raises HistoryError."""
    sites: list[Site] = []
    told = ""
    while len(sites) < len(openings):
        try:
            sites.append(openings[len(sites)](now_us=clock.now_us()))
        except (HistoryFull, HistoryUnreachable, HistoryBusy) as error:
            name = names[len(sites)]
            if str(error) != told:
                told = str(error)
                log.error("%s: its history cannot be opened, and is waited for: %s", name, told)
            _say(data, name, told)
            if companion is not None:
                companion.tend()
            time.sleep(_TRY_AGAIN_S)
    return sites


def _say(data: Path, name: str, why: str) -> None:
    """A sign of life that says so. Its time is never before the last one's, by which clocks are judged."""
    before, now_us = read_pulse(data), clock.now_us()
    at_us = now_us if before is None else max(now_us, before.time_us)
    write_pulse(data, Pulse(at_us, now_us, True, "", False, 0, 0, {name: why}))
