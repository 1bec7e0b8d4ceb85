"""Rib profiles: the parent paraboloid, and the facets, over straight lines of the flat frame."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.dish.outline import Outline
from dishtrace.dish.paraboloid import height
from dishtrace.report.making.frame import Frame
from dishtrace.report.making.sketch import MM

SAMPLES = 4096
"""Steps along a line in which its crossings with the rim are looked for; narrower openings may be missed [–]."""
FACET_SAMPLES = 256
"""The same along a facet [–]."""
CHORD_M = 1e-6
"""Largest distance of the drawn chain from the curve [m]."""
TABLE_STEP_M = 0.05
"""Ways along a rib at which heights are listed [m]."""
BEYOND_SHARE = 1e-3
"""Share of a line that is looked at beyond the chords that stand for a round rim [–]."""
HALVINGS = 60
"""Halvings of a step that pin down a crossing [–]."""


@dataclass(frozen=True)
class Section:
    """A straight line on the flat frame.

    Parameters
    ----------
    angle_deg : float
        Its direction, from the frame's a axis towards b. [deg]
    offset_m : float
        How far it passes beside the outline's centre, to the left of its direction. [m]
    """

    angle_deg: float
    offset_m: float = 0.0

    @property
    def name(self) -> str:
        """As people read it: "30 deg" or "30 deg, 0.25 m beside the centre"."""
        aside = f", {self.offset_m:g} m beside the centre" if self.offset_m else ""
        return f"{self.angle_deg:g} deg{aside}"

    def feet(self, s: np.ndarray) -> np.ndarray:
        """Places (k, 2) on the frame at ways s from the point nearest to the centre. [m]"""
        turn = np.radians(self.angle_deg)
        along, left = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        return np.multiply.outer(np.asarray(s, dtype=float), along) + self.offset_m * left

    def way(self, ab: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Places (k, 2) as way along the line and distance to its left, (k,) each. [m]"""
        turn = np.radians(self.angle_deg)
        along, left = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        return ab @ along, ab @ left - self.offset_m


@dataclass(frozen=True, eq=False)
class Run:
    """A facet over a rib.

    Parameters
    ----------
    number : int
        Of the facet.
    curve : (k, 2) float64
        Way along the rib and height of the mirror over the frame. [m]
    over_rib : (k,) float64
        Height over a rib that has the paraboloid's curve, negative below. [m]
    """

    number: int
    curve: np.ndarray
    over_rib: np.ndarray


@dataclass(frozen=True, eq=False)
class Rib:
    """One section of the mirror.

    Parameters
    ----------
    section : Section
        Where it is cut.
    stretches : tuple of (k, 2) float64
        Way and height of the paraboloid over the frame, one chain for every stretch inside the outline. [m]
    runs : tuple of Run
        Facets over it, none for one skin.
    """

    section: Section
    stretches: tuple[np.ndarray, ...]
    runs: tuple[Run, ...]

    def length(self) -> float:
        """Length of the curve, all stretches together, as drawn. [m]"""
        return float(sum(np.hypot(*np.diff(chain, axis=0).T).sum() for chain in self.stretches))


def rib_of(section: Section, frame: Frame, outline: Outline, facets: Facets | None, *, focal_length: float) -> Rib:
    """Cut the mirror along a line of its frame, square to the frame.

    Parameters
    ----------
    section : Section
        The line.
    frame : Frame
        The flat frame.
    outline : Outline
        Of the dish, in plan. [m]
    facets : Facets or None
        None for one skin.
    focal_length : float
        Focal length f. [m]

    Returns
    -------
    Rib
        Without a stretch when the line passes outside.
    """

    def heights(s: np.ndarray) -> np.ndarray:
        return frame.parent_heights(section.feet(s), focal_length=focal_length)

    def is_inside(s: np.ndarray) -> np.ndarray:
        places = frame.points(np.column_stack([section.feet(s), heights(s)]))
        return np.isfinite(places[:, 2]) & outline.contains(places[:, :2])

    rim = outline.boundary(512)
    rim = np.column_stack([rim, height(*rim.T, focal_length=focal_length)])
    ways, _ = section.way(frame.places(rim)[:, :2])
    step = np.sqrt(16.0 * CHORD_M * focal_length)
    stretches = []
    for low, high in _stretches(is_inside, ways.min(), ways.max(), SAMPLES):
        s = _ways(low, high, step)
        stretches.append(np.column_stack([s, heights(s)]))
    runs = _runs(section, frame, facets, heights) if facets is not None and stretches else ()
    return Rib(section, tuple(stretches), runs)


def _ways(low: float, high: float, step: float) -> np.ndarray:
    """Ways from low to high in steps no longer than `step`, whole multiples of the table's step among them. [m]"""
    whole = TABLE_STEP_M * np.arange(np.ceil(low / TABLE_STEP_M), np.floor(high / TABLE_STEP_M) + 1)
    stops = np.concatenate([[low], whole[(whole > low + 1e-9) & (whole < high - 1e-9)], [high]])
    counts = np.maximum(1, np.ceil(np.diff(stops) / step).astype(int))
    pieces = [np.linspace(a, b, n, endpoint=False) for a, b, n in zip(stops[:-1], stops[1:], counts, strict=True)]
    return np.concatenate([*pieces, [high]])


def _runs(
    section: Section, frame: Frame, facets: Facets, rib_height: Callable[[np.ndarray], np.ndarray]
) -> tuple[Run, ...]:
    """All facets over a line, in its order."""
    runs = []
    for i, outline in enumerate(facets.outlines):
        places = frame.places(facets.surface(i, outline.boundary(32))[0])
        way, aside = section.way(places[:, :2])
        margin = 0.02 * (np.ptp(way) + np.ptp(aside))
        if aside.min() > margin or aside.max() < -margin:
            continue
        heights, is_inside = _over(facets, i, frame, section)
        for low, high in _stretches(is_inside, way.min() - margin, way.max() + margin, FACET_SAMPLES):
            s = np.linspace(low, high, 17)
            h = heights(s)
            runs.append(Run(int(facets.number[i]), np.column_stack([s, h]), h - rib_height(s)))
    return tuple(sorted(runs, key=lambda run: run.curve[0, 0]))


def _over(facets: Facets, i: int, frame: Frame, section: Section) -> tuple[Callable, Callable]:
    """Height of facet i over the line, and whether it is there."""
    shape = {"quadric": facets.quadric[i], "origin": facets.origin[i], "axes": facets.axes[i]}

    def heights(s: np.ndarray) -> np.ndarray:
        return frame.heights(section.feet(s), **shape)

    def is_inside(s: np.ndarray) -> np.ndarray:
        places = frame.points(np.column_stack([section.feet(s), heights(s)]))
        uv = (places - facets.origin[i]) @ facets.axes[i, :2].T
        return np.isfinite(uv[:, 0]) & facets.outlines[i].contains(uv)

    return heights, is_inside


def _stretches(
    is_inside: Callable[[np.ndarray], np.ndarray], low: float, high: float, samples: int
) -> list[tuple[float, float]]:
    """Stretches of a line that lie inside, their ends to rounding."""
    margin = BEYOND_SHARE * (high - low)
    s = np.linspace(low - margin, high + margin, samples + 1)
    inside = is_inside(s)
    turns = np.nonzero(inside[1:] != inside[:-1])[0]
    ends = []
    for k in turns:
        left, right = s[k], s[k + 1]
        for _ in range(HALVINGS):
            middle = 0.5 * (left + right)
            if is_inside(np.array([middle]))[0] == inside[k]:
                left = middle
            else:
                right = middle
        ends.append(left if inside[k] else right)
    if inside[0]:
        ends.insert(0, s[0])
    if inside[-1]:
        ends.append(s[-1])
    return [(float(a), float(b)) for a, b in zip(ends[::2], ends[1::2], strict=True) if b > a]


def rib_columns(ribs: tuple[Rib, ...]) -> dict[str, list]:
    """The table of rib heights every 50 mm from the middle, and at the ends of every stretch."""
    columns: dict[str, list] = {"section_deg": [], "beside_mm": [], "way_mm": [], "height_mm": []}
    for rib in ribs:
        for chain in rib.stretches:
            rest = np.remainder(chain[:, 0] + 0.5 * TABLE_STEP_M, TABLE_STEP_M) - 0.5 * TABLE_STEP_M
            is_listed = np.abs(rest) < 1e-9
            is_listed[[0, -1]] = True
            _add_section(columns, rib, int(is_listed.sum()))
            columns["way_mm"] += _mm(chain[is_listed, 0])
            columns["height_mm"] += _mm(chain[is_listed, 1])
    return columns


def run_columns(ribs: tuple[Rib, ...]) -> dict[str, list]:
    """The table of facets over ribs: from where to where, heights there over the frame, and over a shaped rib."""
    columns: dict[str, list] = {"section_deg": [], "beside_mm": [], "facet": []}
    for key in ("way", "height", "over_rib"):
        columns.update({f"{key}_{place}_mm": [] for place in ("start", "middle", "end")})
    for rib in ribs:
        _add_section(columns, rib, len(rib.runs))
        for run in rib.runs:
            columns["facet"].append(run.number)
            for place, k in (("start", 0), ("middle", len(run.curve) // 2), ("end", -1)):
                way, height_there = run.curve[k]
                for key, value in (("way", way), ("height", height_there), ("over_rib", run.over_rib[k])):
                    columns[f"{key}_{place}_mm"] += _mm(np.array([value]))
    return columns


def _add_section(columns: dict[str, list], rib: Rib, count: int) -> None:
    columns["section_deg"] += [f"{rib.section.angle_deg:g}"] * count
    columns["beside_mm"] += [f"{rib.section.offset_m * MM:g}"] * count


def _mm(values: np.ndarray) -> list[str]:
    return [f"{value:.3f}" for value in np.round(values * MM, 3) + 0.0]
