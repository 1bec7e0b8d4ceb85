"""What `dishtrace heat` prints: temperatures, walls, heat to draw off, limits, fillings, advice."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from dishtrace.heat.outcome import degrees
from dishtrace.report.cautions import cautions
from dishtrace.report.filling_cautions import filling_cautions
from dishtrace.report.numerals import PLAIN, Signs, significant, written
from dishtrace.report.tables import WIDTH, Heading, bullets, flow, grid, head, joined
from dishtrace.report.timeline import timeline_lines
from dishtrace.units import celsius

if TYPE_CHECKING:
    from rich.text import Text

    from dishtrace.heat.outcome import HeatResult
    from dishtrace.heat.spreads import Spread
    from dishtrace.stats import Estimate

N_ROWS = 6
MOST_INPUTS = 3
LOUD = ("THE WALL MELTS", "MORE THAN")
BURST = "BURST"
"""How notes begin that stand out."""
SINKS = {"air": "air", "radiation": "radiation", "filling": "filling", "vapour": "vapour above it"}


def heat_text(heat: HeatResult, signs: Signs = PLAIN) -> Text:
    """Everything that is printed after `heat`, save the list of files; lines of at most 80 columns."""
    sections = [
        [*head(heat.result, signs), *surroundings(heat)],
        alarms(heat),
        lumps(heat, signs),
        walls(heat, signs),
        curves(heat),
        limits(heat),
        fillings(heat, signs),
        bullets("Advice", heat.advice),
        bullets("Notes", _notes(heat)),
        _cautions(heat, signs),
    ]
    return joined(section for section in sections if section)


def surroundings(heat: HeatResult) -> list[str]:
    """Air, wind and sky."""
    air = heat.ambient
    wind = "still" if air.wind == 0.0 else f"{air.wind:.3g} m/s wind"
    facts = [f"air {celsius(air.temperature):.1f} C", wind, f"sky {celsius(air.sky):.1f} C"]
    return flow([*facts, f"{air.pressure / 1000.0:.1f} kPa"], indent="")


def alarms(heat: HeatResult) -> list[str]:
    """What stands out: walls that melt, and limits passed by the part itself."""
    found = []
    for name, part in heat.parts.items():
        found += [f'"{name}": {note}' for note in part.notes if note.startswith(LOUD)]
        for margin in part.margins:
            if margin.is_own and margin.margin_k < 0.0:
                verb = "may reach" if part.state == "no wall" else "reaches"
                found.append(
                    f'"{name}" {verb} {margin.found_c:.0f} C, {-margin.margin_k:.0f} K above its limit '
                    f"of {margin.limit.limit_c:.0f} C ({margin.limit.item}: {margin.limit.what_happens})"
                )
    bursts = [text for text in _filling_texts(heat) if text.startswith(BURST)]
    between = [""] if bursts and found else []
    return [*bullets("!! BURST", bursts), *between, *bullets("!! TOO HOT", found)]


def _filling_texts(heat: HeatResult) -> list[str]:
    """Cautions of the fillings, in words."""
    return [caution.text for caution in filling_cautions(heat.timelines)]


def lumps(heat: HeatResult, signs: Signs) -> list[str]:
    """Each part as one lump with nothing drawn off."""
    lines: list[str] = [Heading("Nothing drawn off, parts equally warm everywhere (90 % within)")]
    for name, part in heat.parts.items():
        if part.balance is None:
            continue
        told = part.balance
        absorbed, stagnation = written(told.absorbed_w, signs, "W"), degrees(told.stagnation_k)
        lines.append(f"  {name}, {part.setting.part.role}")
        lines += flow(
            [
                _told(stagnation, part.spread, signs),
                f"absorbs {absorbed}",
                "loses " + ", ".join(f"{watts:.0f} W to {key}" for key, watts in told.losses_w.items()),
            ],
            indent="    ",
        )
        lines += _matters(part.spread)
    return lines if len(lines) > 1 else []


def walls(heat: HeatResult, signs: Signs) -> list[str]:
    """Temperature fields."""
    lines: list[str] = [Heading("Walls: hottest place (90 % within)")]
    for name, part in heat.parts.items():
        wall = part.wall
        if wall is None:
            continue
        place = ", ".join(f"{1e3 * value:.0f}" for value in part.setting.traced.mesh.to_user(wall.peak_at))
        gone = ", ".join(
            f"{abs(watts):.0f} W {'to' if watts >= 0.0 else 'from'} {SINKS[key]}" for key, watts in wall.heat_w.items()
        )
        items = [
            _told(degrees(wall.peak_k), part.wall_spread, signs),
            f"{wall.peak_side} at ({place}) mm",
            f"mean {celsius(wall.mean_k):.0f} C, coldest {celsius(wall.lowest_k):.0f} C",
            gone,
        ]
        if wall.fluid_k is not None:
            items.append(f"{part.setting.part.contents.kind} at {celsius(wall.fluid_k):.0f} C")
        lines += [f"  {name}, {part.setting.part.role}", *flow(items, indent="    "), *_matters(part.wall_spread)]
    return lines if len(lines) > 1 else []


def curves(heat: HeatResult) -> list[str]:
    """Heat that receivers have to give against the temperature they work at."""
    lines: list[str] = []
    for name, part in heat.parts.items():
        if part.balance is None or part.setting.part.role != "receiver" or not part.balance.absorbed_w.value > 0.0:
            continue
        curve = part.balance.curve
        rows = [round(k * (len(curve["net_w"]) - 1) / (N_ROWS - 1)) for k in range(N_ROWS)]
        columns = {
            "net heat W": [f"{curve['net_w'][row]:.0f}" for row in rows],
            "lost W": [f"{curve['loss_w'][row]:.0f}" for row in rows],
            "efficiency %": [f"{100.0 * max(curve['efficiency'][row], 0.0):.1f}" for row in rows],
        }
        labels = [f"{celsius(curve['temperature_k'][row]):.0f} C" for row in rows]
        lines += [Heading(f"Heat to draw off from {name}, by its temperature"), *grid(labels, columns)]
    if lines:
        lines.append("  (net heat over the sunlight on the dish outline; losses are good to 20 %)")
    return lines


def limits(heat: HeatResult) -> list[str]:
    """Temperature limits against what is found, for what parts are made of and for hardware fixed to them."""
    lines: list[str] = []
    for name, part in heat.parts.items():
        if not part.margins:
            continue
        own = [margin for margin in part.margins if margin.is_own]
        fixed = [margin for margin in part.margins if not margin.is_own]
        bears = [margin.limit.item for margin in fixed if margin.margin_k >= 0.0]
        fails = [margin.limit.item for margin in fixed if margin.margin_k < 0.0]
        contents = part.setting.part.contents
        is_wet = part.state != "no wall" and contents is not None and contents.kind in ("water", "pot", "oil", "flow")
        found = f"{'up to ' if part.state == 'no wall' else ''}{part.margins[0].found_c:.0f} C"
        found += " while it is filled, dry it gets hotter" if is_wet else ""
        items = [f"{margin.limit.item} {margin.limit.limit_c:.0f} C: margin {margin.margin_k:+.0f} K" for margin in own]
        items += [f"too hot for {', '.join(fails)}"] if fails else []
        items += [f"bearable for {', '.join(bears)}"] if bears else []
        for number, item in enumerate(items):
            lines += textwrap.wrap(
                item if number else f"{name}, {found}: {item}",
                WIDTH,
                initial_indent="  " if number == 0 else "    ",
                subsequent_indent="    ",
            )
    return [Heading("Limits of what parts are made of, and of what may be fixed to them"), *lines] if lines else []


def _notes(heat: HeatResult) -> list[str]:
    """Notes of all parts, save those that stand above already."""
    parts = heat.parts.items()
    return [f'"{name}": {note}' for name, part in parts for note in part.notes if not note.startswith(LOUD)]


def fillings(heat: HeatResult, signs: Signs) -> list[str]:
    """Fillings over time, with their events."""
    lines: list[str] = []
    for timeline in heat.timelines:
        first, *rest = timeline_lines(timeline, signs)
        lines += [Heading(first), *(piece for line in rest for piece in _wrapped(line))]
    return lines


def _wrapped(line: str) -> list[str]:
    return [line] if len(line) <= WIDTH else textwrap.wrap(line, WIDTH, subsequent_indent="    ")


def _cautions(heat: HeatResult, signs: Signs) -> list[str]:
    """Those of fillings first, then those of the trace; those of a burst stand at the top of all."""
    texts = [text for text in _filling_texts(heat) if not text.startswith(BURST)]
    texts += [caution.text for caution in cautions(heat.result)]
    return bullets("Cautions", list(dict.fromkeys(text.replace("m2", f"m{signs.square}") for text in texts)))


def _matters(spread: Spread | None) -> list[str]:
    """The inputs that matter most."""
    if spread is None:
        return []
    told = [
        f"{entry.name} {entry.below_k:+.1f} to {entry.above_k:+.1f} K"
        for entry in spread.influences[:MOST_INPUTS]
        if entry.reach >= 0.05
    ]
    if not told:
        return []
    text = "most uncertain by (one sd below to above): " + "; ".join(told)
    return textwrap.wrap(text, WIDTH, initial_indent="    ", subsequent_indent="      ")


def _told(found: Estimate, spread: Spread | None, signs: Signs) -> str:
    """A temperature in whole degrees with its range, and the error of the tracing apart."""
    error = "unknown" if found.se is None else f"{signs.plus_minus} {significant(found.se, 1)}"
    return f"{found.value:.0f} C ({_range(spread)}; by tracing alone {error})"


def _range(spread: Spread | None) -> str:
    return "range unknown" if spread is None else f"{celsius(spread.low_k):.0f} to {celsius(spread.high_k):.0f}"
