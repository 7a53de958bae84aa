"""Microseconds since the epoch: what makes how many, and the text that leaves the program, RFC 3339, UTC."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def rfc3339(time_us: int) -> str:
    """An instant in RFC 3339, to the second; with its microseconds only where there are any.

    >>> rfc3339(1_935_555_151_000_000)
    '2031-05-03T06:12:31Z'
    >>> rfc3339(250_000)
    '1970-01-01T00:00:00.250000Z'
    """
    return (_EPOCH + timedelta(microseconds=time_us)).isoformat().replace("+00:00", "Z")
