"""Files of `heat`: heat.json, heat.csv, the curves of parts, and temperatures of walls triangle by triangle."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from dishtrace.report.csv_rows import write_rows
from dishtrace.report.exports import write_object
from dishtrace.report.folder import slugs
from dishtrace.report.timeline import write_events, write_timeline
from dishtrace.units import celsius

if TYPE_CHECKING:
    from dishtrace.heat.outcome import HeatResult, PartTemperatures


def write_heat(heat: HeatResult, folder: Path) -> list[str]:
    """Write all tables of a heat result into a folder that exists; gives their names, heat.json first."""
    written = [write_object(heat.to_dict(), folder / "heat.json")]
    written.append(write_rows(heat.rows(), folder / "heat.csv", _about(heat)))
    for name, part in zip(slugs(heat.parts), heat.parts.values(), strict=True):
        if part.balance is not None:
            written.append(_write_curve(heat, part, folder / f"heat-curve-{name}.csv"))
        if part.wall is not None:
            written.append(_write_wall(heat, part, folder / f"heat-wall-{name}.csv"))
        if part.margins:
            rows = [{"part": part.setting.part.name, **margin.to_dict()} for margin in part.margins]
            written.append(write_rows(rows, folder / f"heat-limits-{name}.csv", _about(heat)))
    for timeline, name in zip(heat.timelines, slugs(timeline.part for timeline in heat.timelines), strict=True):
        written.append(write_timeline(timeline, folder / f"timeline-{name}.csv"))
    if heat.timelines:
        written.append(write_events(list(heat.timelines), folder / "timeline-events.csv"))
    return written


def _about(heat: HeatResult) -> list[str]:
    title = heat.scene.title_line
    return [f"dishtrace {heat.version}, scene {title!r}: {heat.result.rays} rays, seed {heat.result.seed}"]


def _write_curve(heat: HeatResult, part: PartTemperatures, path: Path) -> str:
    """Heat to draw off against working temperature."""
    head = [
        *_about(heat),
        f"part {part.setting.part.name!r} as one lump; efficiency: net heat over sunlight on the dish",
    ]
    return write_rows(part.to_dict()["curve"], path, head)


def _write_wall(heat: HeatResult, part: PartTemperatures, path: Path) -> str:
    """Temperature of both surfaces of every triangle."""
    wall, middles = part.wall, part.setting.traced.mesh.triangles.mean(axis=1)
    head = [
        *_about(heat),
        f"part {part.setting.part.name!r}: temperatures of both surfaces; x, y, z in the dish frame [m]",
    ]
    rows = [
        {"triangle": n, "x_m": x, "y_m": y, "z_m": z, "front_c": celsius(front), "back_c": celsius(back)}
        for n, ((x, y, z), front, back) in enumerate(
            zip(middles.tolist(), wall.front_k.tolist(), wall.back_k.tolist(), strict=True)
        )
    ]
    return write_rows(rows, path, head)
