"""A dish through a day or a year: `day` and `year`, and their result `Day`."""

from __future__ import annotations

from dishtrace.study.day.outcome import Day
from dishtrace.study.day.whole import day, year

__all__ = ["Day", "day", "year"]
