"""How far the times of events and the figures of fillings spread over uncertain inputs."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.heat.filling import run_fillings
from dishtrace.heat.ranges import interval

if TYPE_CHECKING:
    from dishtrace.heat.part_heat import PartHeat
    from dishtrace.heat.timeline import Event, Timeline
    from dishtrace.scene.model import Scene

N_FILLINGS = 32
"""Scenes drawn for the fillings: every one is a run of its own. [-]"""
LEAST_SHARE = 0.9
"""Share of the drawn scenes in which an event must happen for its time to have a range. [-]"""


def with_intervals(timelines: list[Timeline], drawn: Iterable[tuple[Scene, dict[str, PartHeat]]]) -> list[Timeline]:
    """Timelines whose events carry the middle 90 % of their times over scenes drawn from the uncertain inputs.

    Parameters
    ----------
    timelines : list of Timeline
        Of the scene itself.
    drawn : iterable of (Scene, dict of PartHeat)
        Scenes from `dishtrace.heat.ranges.samples` with what they make of the parts' heat; 32 are enough.

    Returns
    -------
    list of Timeline
        The figures too. An event that happens in less than nine of ten scenes keeps no
        interval, and a note says in how many it does.
    """
    runs: dict[str, list[Timeline]] = {timeline.part: [] for timeline in timelines}
    for scene, parts_heat in drawn:
        for timeline in run_fillings(scene, parts_heat, is_brief=True):
            runs[timeline.part].append(timeline)
    return [_spread(timeline, runs[timeline.part]) for timeline in timelines]


def _spread(timeline: Timeline, others: list[Timeline]) -> Timeline:
    """One timeline with its intervals."""
    if len(others) < 2:
        return timeline
    notes, events = [], []
    for event in timeline.events:
        times = [found.time_s.value for other in others if (found := other.event(event.key)) is not None]
        events.append(_event(event, times, len(others)))
        if len(times) < len(others):
            notes.append(
                f'"{event.text}" happens in {len(times)} of {len(others)} scenes drawn from the uncertain inputs.'
            )
    rare = {event.key: event.text for other in others for event in other.events}
    for key in sorted(rare.keys() - {event.key for event in timeline.events}):
        count = sum(other.event(key) is not None for other in others)
        notes.append(
            f'"{rare[key]}" happens in {count} of {len(others)} scenes drawn, though not at the middle of them.'
        )
    ranges = {}
    for name in timeline.figures:
        values = [other.figures.get(name) for other in others]
        if all(value is not None for value in values) and np.ptp(values) > 0.0:
            ranges[name] = interval(np.array(values, float))
    return replace(timeline, events=tuple(events), figures_interval=ranges, notes=(*timeline.notes, *notes))


def _event(event: Event, times: list[float], count: int) -> Event:
    if len(times) < LEAST_SHARE * count:
        return event
    return replace(event, interval_s=interval(np.array(times)))
