"""A dish through a day or a year: `day` and `year`, and their result `Day`."""

from __future__ import annotations

from dishtrace.study.day.whole import Day, day, year

__all__ = ["Day", "day", "year"]
