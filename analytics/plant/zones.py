"""IANA time zones by name, with the nearest real one for a slip of the pen."""

from __future__ import annotations

import re
import zoneinfo
from typing import Any

from analytics.plant.fields import did_you_mean
from analytics.plant.mistakes import Mistakes, Path

_NAME = re.compile(r"[A-Za-z0-9_+-]{1,40}(/[A-Za-z0-9_+-]{1,40}){0,3}")


def timezone(value: Any, path: Path, mistakes: Mistakes) -> str | None:
    """The name, where the time zone database knows it."""
    if isinstance(value, str) and _NAME.fullmatch(value):
        try:
            zoneinfo.ZoneInfo(value)
        except (KeyError, ValueError, OSError):  # unknown; a file that is no zone; a folder of zones
            pass
        else:
            return value
    near = did_you_mean(value, sorted(zoneinfo.available_timezones())) if isinstance(value, str) else ""
    accepted = 'an IANA name such as "America/Boise"'
    mistakes.add(path, f"not a time zone of the IANA database{near}", value=value, accepted=accepted)
    return None
