"""What studies tell of each scene that they trace: the figures of a comparison, what parts get, how hot they settle."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.heat.balance import settled
from dishtrace.heat.run import up_direction
from dishtrace.heat.setting import Setting, settings_of
from dishtrace.scene.words import nearest
from dishtrace.stats import Estimate, from_left_out
from dishtrace.study.figures import BY_KEY, figures_of
from dishtrace.units import celsius

if TYPE_CHECKING:
    from dishtrace.flux.result import Result

SETTLED = "settled_c"
OF_PARTS = {
    "first_w": ("meets first", "W", "mirror light that meets this part before any other"),
    "absorbed_w": ("absorbs", "W", "light that it absorbs, from the mirror and straight from the sun"),
    "peak_w_m2": ("peak", "W/m2", "highest mean flux of mirror light over 1 cm2 of it"),
    SETTLED: ("settles at", "degC", "temperature with nothing drawn off, equally warm everywhere"),
}
"""Figures of each part by the end of their key, ``part.<name>.absorbed_w``: label, unit, meaning."""


def all_figures(result: Result, *, with_heat: bool = True) -> dict[str, Estimate]:
    """Figures of a traced scene by key.

    Parameters
    ----------
    result : Result
    with_heat : bool
        Whether to tell settled temperatures where an emittance is known.

    Returns
    -------
    dict of Estimate
        Those of `dishtrace.study.figures` and those of `OF_PARTS` for every part.
    """
    found = dict(figures_of(result))
    for name, part in result.parts.items():
        found[f"part.{name}.first_w"] = part.first_w
        found[f"part.{name}.absorbed_w"] = absorbed_of_part(part.absorbed_w, part.direct_absorbed_w)
        found[f"part.{name}.peak_w_m2"] = part.peak_w_m2
    if with_heat:
        for name, setting in settings_of(result, up_direction(result)).items():
            temperature = _settled(setting, found[f"part.{name}.absorbed_w"])
            if temperature is not None:
                found[f"part.{name}.{SETTLED}"] = temperature
    return found


def absorbed_of_part(mirror: Estimate, direct: Estimate) -> Estimate:
    """Sum of what a part absorbs from the mirror and straight from the sun; the rays of the two are separate. [W]"""
    value = mirror.value + direct.value
    blocks = [one.left_out for one in (mirror, direct)]
    if any(one is None for one in blocks) or len(blocks[0]) != len(blocks[1]):
        return Estimate(
            value, None if mirror.se is None or direct.se is None else float(np.hypot(mirror.se, direct.se))
        )
    return from_left_out(value, blocks[0] + blocks[1])


def _settled(setting: Setting, absorbed: Estimate) -> Estimate | None:
    """Temperature of a part with nothing drawn off; the error is that of the tracing. [degC]"""
    losses = setting.losses
    if losses is None:
        return None
    coldest = min(losses.ambient.temperature, losses.ambient.sky)
    warm = settled(absorbed.value, losses.total, coldest=coldest)
    step = 1e-3 * warm
    slope = (losses.total(warm + step) - losses.total(warm - step)) / (2.0 * step)
    if absorbed.left_out is None:
        return Estimate(celsius(warm), None if absorbed.se is None else absorbed.se / slope)
    return from_left_out(celsius(warm), celsius(warm) + (absorbed.left_out - absorbed.value) / slope)


def label_of(key: str) -> str:
    """Name and unit of a figure for tables and pictures."""
    if key in BY_KEY:
        measure = BY_KEY[key]
        return f"{measure.label} {measure.shown_unit}".strip()
    name, _, end = key.removeprefix("part.").rpartition(".")
    label, unit, _ = OF_PARTS[end]
    return f'"{name}" {label} {"kW/m2" if unit == "W/m2" else unit}'


def factor_of(key: str) -> float:
    """From a figure's own unit to the one of its label."""
    if key in BY_KEY:
        return BY_KEY[key].factor
    return 1e-3 if key.endswith("_w_m2") else 1.0


def unit_of(key: str) -> str:
    """SI unit of a figure, degC for temperatures; empty for none."""
    return BY_KEY[key].unit if key in BY_KEY else OF_PARTS[key.rpartition(".")[2]][1]


def meaning_of(key: str) -> str:
    """Definition of a figure, as a sentence."""
    return BY_KEY[key].meaning if key in BY_KEY else f"{OF_PARTS[key.rpartition('.')[2]][2]}."


def possible_keys(parts: list[str]) -> list[str]:
    """Keys of all figures that a scene with these parts can have."""
    return [*BY_KEY, *(f"part.{name}.{end}" for name in parts for end in OF_PARTS)]


def refuse_unknown(given: Mapping[str, str], parts: list[str]) -> None:
    """Refuse figures that no scene with these parts has.

    Parameters
    ----------
    given : mapping
        What the user wrote for each figure's key: ``{"stand_w": "--keep"}``.

    Raises
    ------
    InputError
        With the nearest key.
    """
    known = possible_keys(parts)
    faults = []
    for key, option in given.items():
        if key not in known:
            like = nearest(key, known)
            remedy = f'did you mean "{like}"?' if like else f"known: {', '.join(known[: len(BY_KEY)])}, part.NAME.END"
            faults.append(Fault(COMMAND_LINE, f"{option} {key}", "", "names no figure", remedy))
    if faults:
        raise InputError(faults)
