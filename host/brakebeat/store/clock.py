"""Times of day as the store keeps them: milliseconds since 1970 UTC, and the local clock's offset."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta, timezone
from functools import lru_cache

from brakebeat.errors import InputError


def now_ms() -> int:
    """Now."""
    return time.time_ns() // 1_000_000


def to_stored(moment: datetime) -> tuple[int, int]:
    """(milliseconds since 1970 UTC, offset of the local clock from UTC in minutes).

    A moment without an offset is one on this computer's clock.
    """
    local = moment.astimezone() if moment.tzinfo is None else moment
    offset = local.utcoffset() or timedelta()
    return (local - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1), offset // timedelta(
        minutes=1
    )


def from_stored(at_ms: int, utc_offset_min: int = 0) -> datetime:
    """The moment on the clock that hung on the wall there."""
    return _epoch(utc_offset_min) + timedelta(milliseconds=at_ms)


@lru_cache(maxsize=256)
def _epoch(utc_offset_min: int) -> datetime:
    return datetime(1970, 1, 1, tzinfo=UTC).astimezone(timezone(timedelta(minutes=utc_offset_min)))


def parse_moment(text: str, what: str) -> datetime:
    """An ISO 8601 date and time (`2027-01-31T18:00`, offset optional). Raises ``InputError`` naming ``what``."""
    try:
        return datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(f"{what}: {text!r} is no date and time; write it like 2027-01-31T18:00") from error
