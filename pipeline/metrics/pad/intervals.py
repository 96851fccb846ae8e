"""Arithmetic of time intervals: union, difference, split by day."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

Interval = tuple[datetime, datetime]


def union(intervals: Iterable[Interval]) -> list[Interval]:
    """Join intervals that overlap or touch; intervals of zero length are dropped."""
    joined: list[Interval] = []
    for start, end in sorted(interval for interval in intervals if interval[1] > interval[0]):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return joined


def less(interval: Interval, taken: Sequence[Interval]) -> list[Interval]:
    """Return the remainder of an interval after subtracting other intervals (given as a union)."""
    left, at = [], interval[0]
    for start, end in taken:
        if end <= at or start >= interval[1]:
            continue
        if start > at:
            left.append((at, start))
        at = max(at, end)
    if at < interval[1]:
        left.append((at, interval[1]))
    return left


def hours(intervals: Iterable[Interval]) -> float:
    """Return the hours covered by intervals, counting overlaps once. [h]"""
    return sum((end - start).total_seconds() for start, end in union(intervals)) / 3600.0


def by_day(interval: Interval, zone: str) -> list[tuple[date, Interval]]:
    """Split an interval at midnight in the pad's time zone."""
    clock = ZoneInfo(zone)
    parts, at = [], interval[0]
    while at < interval[1]:
        day = at.astimezone(clock).date()
        following = day + timedelta(days=1)
        midnight = datetime(following.year, following.month, following.day, tzinfo=clock).astimezone(at.tzinfo)
        until = min(midnight, interval[1])
        parts.append((day, (at, until)))
        at = until
    return parts
