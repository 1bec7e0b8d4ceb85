"""A sizing for people: the recommendation, tables in the terminal, files for other programs."""

from __future__ import annotations

import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from dishtrace.report.cautions import CODES
from dishtrace.report.columns import fitting
from dishtrace.report.csv_rows import write_rows
from dishtrace.report.exports import write_object
from dishtrace.report.numerals import PLAIN, Signs, significant, written
from dishtrace.report.tables import WIDTH, Heading, bullets, grid, joined
from dishtrace.stats import Estimate
from dishtrace.study.size.knobs import KNOBS

if TYPE_CHECKING:
    from rich.text import Text

    from dishtrace.study.size import Sizing
    from dishtrace.study.size.best import Best, Size

SHOWN_SIZES = 10
WARNINGS = (
    "What misses the receiver lands on the stand or on whatever stands behind it: people, walls, dry grass. Screen it.",
    "All light leaves a receiver that only just fits the spot soon after the drive stops.",
    CODES,
)


def size_text(sizing: Sizing, signs: Signs = PLAIN) -> Text:
    """Everything that is printed after a sizing, save the list of files: lines of at most 80 columns."""
    sections = [
        _head(sizing),
        _wrapped(recommendation(sizing, signs)),
        _bests(sizing, signs),
        _captures(sizing, signs),
        _sizes(sizing, signs),
        bullets("Notes", sizing.notes),
        bullets("Cautions", WARNINGS),
    ]
    return joined(section for section in sections if section)


def recommendation(sizing: Sizing, signs: Signs = PLAIN) -> str:
    """What to build, as a sentence or two, with its interval."""
    best = sizing.best
    if best is None:
        return _by_capture(sizing, signs)
    warm = f"{best.temperature_c:g} C"
    if not best.sizes:
        return (
            f'For work at {warm} no size of "{sizing.part}" that was tried has heat left to draw off: at best '
            f"{written(best.net_w, signs, 'W')}. Cut its losses (a cover, insulation, a cavity) or work cooler."
        )
    ends = [size for size in best.sizes if size.at_end]
    text = f'For work at {warm} give "{sizing.part}" {" and ".join(_told_size(size) for size in best.sizes)}'
    if ends:
        names = " and ".join(f"--{size.name}" for size in ends)
        text = f"{text}. THE BEST LIES AT AN END of what was tried, or beyond: widen {names}"
    elif best.flat is not None:
        low, high = (_length(best.sizes[0].name, value) for value in best.flat)
        text += f"; {low} to {high} cost less than 1 % of the net heat"
    share, net = best.figures["share"].scaled(100.0), written(best.net_w, signs, "W")
    text += (
        f". It then meets {written(share, signs, '%')} of the light from the mirror, and {net} can be drawn off; "
        f"{_rest(best.figures, signs)}."
    )
    return text


def _by_capture(sizing: Sizing, signs: Signs) -> str:
    """What to say where losses are not known: the size for 95 % of the light."""
    found = sizing.captures.get(0.95)
    if found is None:
        return "No size can be recommended: losses are not known, and 95 % of the light is not reached."
    value, figures = found
    name = sizing.knobs[0].name
    return (
        f'Losses are not known. To meet 95 % of the light from the mirror "{sizing.part}" needs a {KNOBS[name]} of '
        f"{_estimate(name, value, signs)}; {_rest(figures, signs)}."
    )


def _rest(figures: dict[str, Estimate], signs: Signs) -> str:
    """Where the light that it does not meet goes."""
    others = [
        f'{written(one, signs, "W")} land on "{key.removeprefix("others_w.")}" first'
        for key, one in figures.items()
        if key.startswith("others_w.") and one.value > 0.0
    ]
    return ", ".join([*others, f"{written(figures['missed_w'], signs, 'W')} miss all parts"])


def _told_size(size: Size) -> str:
    text = f"{_named(size.name)} of {_length(size.name, size.value)}"
    if size.low is not None:
        text += f" (95 % interval {_length(size.name, size.low)} to {_length(size.name, size.high)})"
    return text


def _named(name: str) -> str:
    """What is varied, with its article."""
    word = KNOBS[name]
    return f"{'an' if word[0] in 'aeiou' else 'a'} {word}"


def _length(name: str, value: float) -> str:
    if name == "scale":
        return f"{value:.3g}"
    return f"{significant(1e3 * value, 3)} mm" if abs(value) >= 1e-3 else f"{1e3 * value:.2f} mm"


def _estimate(name: str, value: Estimate, signs: Signs) -> str:
    return written(value, signs) if name == "scale" else written(value.scaled(1e3), signs, "mm")


def _head(sizing: Sizing) -> list[str]:
    title = sizing.scene.title_line
    varied = ", ".join(
        f"{KNOBS[knob.name]} {_length(knob.name, knob.low)} to {_length(knob.name, knob.high)}" for knob in sizing.knobs
    )
    lines: list[str] = [Heading(f'Size of "{sizing.part}": {title}'[:WIDTH])]
    if sizing.stopped:
        lines.append("STOPPED EARLY: told from the sizes traced until then.")
    about = f"{len(sizing.trials)} sizes, {sizing.rays} rays each, seed {sizing.seed}, same random points; {varied}"
    return lines + textwrap.wrap(about, WIDTH)


def _bests(sizing: Sizing, signs: Signs) -> list[str]:
    """Best size at each working temperature."""
    if not sizing.bests:
        return []
    columns: dict[str, list[str]] = {}
    for axis, knob in enumerate(sizing.knobs):
        columns[_title(knob.name)] = [_best_size(best, axis) for best in sizing.bests]
    columns["95 % interval"] = [_interval(best) for best in sizing.bests]
    columns["costs < 1 %"] = [
        "-" if best.flat is None else _range(sizing.knobs[0].name, *best.flat) for best in sizing.bests
    ]
    columns["net W"] = [written(best.net_w, signs) for best in sizing.bests]
    columns["share %"] = [
        written(best.figures["share"].scaled(100.0), signs) if best.figures else "-" for best in sizing.bests
    ]
    labels = [f"{best.temperature_c:g} C" for best in sizing.bests]
    lines: list[str] = [
        Heading("Most heat to draw off, by working temperature"),
        *grid(labels, fitting(labels, columns)),
    ]
    causes = sizing.best.causes if sizing.best else ()
    if causes:
        told = ", ".join(f"{name} ({100.0 * share:.0f} %)" for name, share in causes)
        lines += textwrap.wrap(
            f"What the first interval comes from: {told}.", WIDTH, initial_indent="  ", subsequent_indent="    "
        )
    return lines


def _title(name: str) -> str:
    return "scale" if name == "scale" else f"{name} mm"


def _best_size(best: Best, axis: int) -> str:
    if not best.sizes:
        return "none"
    size = best.sizes[axis]
    text = _bare(size.name, size.value)
    return f"{text} (end)" if size.at_end else text


def _bare(name: str, value: float) -> str:
    return f"{value:.3g}" if name == "scale" else significant(1e3 * value, 3)


def _range(name: str, low: float, high: float) -> str:
    return f"{_bare(name, low)} - {_bare(name, high)}"


def _interval(best: Best) -> str:
    if not best.sizes or best.sizes[0].low is None:
        return "-"
    return _range(best.sizes[0].name, best.sizes[0].low, best.sizes[0].high)


def _captures(sizing: Sizing, signs: Signs) -> list[str]:
    """Smallest size for shares of the light."""
    if not sizing.captures:
        return []
    name = sizing.knobs[0].name
    sizes, stands, missed = [], [], []
    for found in sizing.captures.values():
        if found is None:
            sizes.append("not reached")
            stands.append("-")
            missed.append("-")
            continue
        value, figures = found
        told = written(value if name == "scale" else value.scaled(1e3), signs)
        is_all = value.se is None and value.value <= min(trial.values[name] for trial in sizing.trials)
        sizes.append(f"below {_bare(name, value.value)}" if is_all else told)
        others = [one.value for key, one in figures.items() if key.startswith("others_w.")]
        stands.append(significant(sum(others), 3))
        missed.append(written(figures["missed_w"], signs))
    columns = {_title(name): sizes, "on other parts W": stands, "misses all W": missed}
    labels = [f"{100.0 * share:g} %" for share in sizing.captures]
    return [
        Heading("Smallest that meets a share of the light from the mirror"),
        *grid(labels, fitting(labels, columns)),
    ]


def _sizes(sizing: Sizing, signs: Signs) -> list[str]:
    """Some of the sizes tried; all stand in the file."""
    step = -(-len(sizing.trials) // SHOWN_SIZES)
    shown = sizing.trials[::step]
    names = [knob.name for knob in sizing.knobs]
    labels = [" / ".join(_bare(name, trial.values[name]) for name in names) for trial in shown]
    columns = {
        "share %": [written(trial.share.scaled(100.0), signs) for trial in shown],
        f"peak kW/m{signs.square}": [written(trial.peak_w_m2.scaled(1e-3), signs) for trial in shown],
        "others W": [significant(sum(one.value for one in trial.others_w.values()), 3) for trial in shown],
        "absorbs W": [written(trial.absorbed_w, signs) for trial in shown],
    }
    if all(trial.heat is not None for trial in shown):
        warm = sizing.temperatures_c[0]
        columns[f"loses W, {warm:g} C"] = [significant(float(trial.heat.losses_w[0]), 3) for trial in shown]
    title = f"Sizes tried ({', '.join(_title(name) for name in names)})"
    return [Heading(title if step == 1 else f"{title}, one in {step}"), *grid(labels, fitting(labels, columns))]


def _wrapped(text: str) -> list[str]:
    return [Heading("Recommendation"), *textwrap.wrap(text, WIDTH - 2, initial_indent="  ", subsequent_indent="  ")]


def write_size(sizing: Sizing, folder: Path) -> list[str]:
    """Write size.json and size.csv into a folder that exists; gives their names."""
    told = {**sizing.to_dict(), "recommendation": recommendation(sizing)}
    names = [write_object(told, folder / "size.json")]
    comments = [
        f"dishtrace {sizing.version}, {sizing.rays} rays each, seed {sizing.seed}, same random points",
        f"part {sizing.part!r}; a row a size; share: of the light that leaves the mirror, what meets the part first",
        "net_w: what it absorbs less what it loses at that temperature; ..._se: standard error of the tracing",
    ]
    return [*names, write_rows(sizing.rows(), folder / "size.csv", comments)]
