"""What a heating test says: power, loss coefficient and optical efficiency, with what makes each of them uncertain."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.errors import Fault, InputError
from dishtrace.scene.uncertain import nominal
from dishtrace.study.fit.findings import Finding, finding
from dishtrace.study.fit.given import Amount, Given, amount_of
from dishtrace.study.fit.heating import WATER_J_KG_K, Heating, Stretch, fit_heating
from dishtrace.study.fit.infrared import true_temperature
from dishtrace.study.fit.log import Log
from dishtrace.study.fit.readings import STANDARD_PA, Judged, boiling_c, judge

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene

WATER_EMISSIVITY = Amount(0.96, 0.01)
"""Of open water in the thermal infrared, from above (thermometer makers' tables: 0.93 to 0.98; from memory)."""
FACTORY_EMISSIVITY = 0.95
"""What hand-held infrared thermometers are set to when bought (common practice, no source)."""
UNITS = {"power_w": "W", "net_power_w": "W", "loss_w_k": "W/K", "optical_efficiency": "", "wall_k_w": "K/W"}


@dataclass(frozen=True, eq=False)
class HeatTest:
    """What a heating log says.

    Parameters
    ----------
    log : Log
    given : Given
        With the defaults that were taken.
    heat_c : (n,) float64
        Readings, corrected. [degC]
    judged : Judged
        Which of them were used.
    stretches : tuple of Stretch
    fit : Heating
    findings : dict of Finding
        power_w (absorbed, at the reference irradiance), net_power_w (into the water, at the middle temperature),
        loss_w_k, optical_efficiency, and wall_k_w where it was found.
    shares : dict of dict
        For each finding, its standard error by cause, in its unit; "readings" is their scatter.
    dni_w_m2 : Amount
        Reference irradiance. [W/m2]
    middle_c : float
        Temperature that net power is told for. [degC]
    notes : tuple of str
    """

    log: Log
    given: Given
    heat_c: np.ndarray
    judged: Judged
    stretches: tuple[Stretch, ...]
    fit: Heating
    findings: dict[str, Finding]
    shares: dict[str, dict[str, float]]
    dni_w_m2: Amount
    middle_c: float
    notes: tuple[str, ...]


def heat_test(log: Log, scene: Scene, *, outline_m2: float, dni_w_m2: float) -> HeatTest:
    """Evaluate a heating log.

    Parameters
    ----------
    log : Log
    scene : Scene
        For the air, the site's pressure and the spread of the irradiance, where the log is silent.
    outline_m2 : float
        Area that the dish's outline shows to the sun. [m2]
    dni_w_m2 : float
        Irradiance of the scene. [W/m2]

    Raises
    ------
    InputError
        If something that is needed was not given, or too few readings can be used.
    """
    notes = list(log.notes)
    given = _completed(log, scene, dni_w_m2, notes)
    heat = _corrected(log, given)
    judged = judge(
        log.time_s,
        heat,
        is_sun_on=log.is_sun_on,
        dni_w_m2=log.dni_w_m2,
        is_wall=log.is_wall,
        boils_at_c=_boils_at(scene),
        step_k=log.step_c,
    )
    finds_wall = _finds_wall(log, given, judged, notes)
    _refuse_too_few(log, judged, len(heat), finds_wall)
    stretches = _stretches(log, given, heat, judged)
    fit = _fitted(log, given, stretches, finds_wall)
    middle = _middle_lit(log, stretches)
    told = partial(_values, outline_m2=outline_m2, middle=middle)
    shares = {key: {"readings": se} for key, se in _scatter(log, given, fit, outline_m2, middle).items()}
    for name, moves in _moves(log, given, judged, finds_wall, told).items():
        for key, moved in moves.items():
            if moved > 0.0:
                shares[key][name] = moved
    if not finds_wall:
        del shares["wall_k_w"]
    values = told(log, given, fit)
    findings = {key: _finding(key, values[key], shares[key], fit.freedom) for key in shares}
    notes += [*judged.notes, *_remarks(fit, findings, given)]
    reference = Amount(_reference(log, given), _reference_sd(log, given))
    return HeatTest(log, given, heat, judged, stretches, fit, findings, shares, reference, middle, tuple(notes))


def _refuse_too_few(log: Log, judged: Judged, n_readings: int, finds_wall: bool) -> None:
    """Readings must outnumber what is found from them."""
    used = sum(len(one) for one in judged.stretches)
    if used < len(judged.stretches) + 4 + finds_wall:
        said = f"leaves {used} usable readings of {n_readings}: {'; '.join((*log.notes, *judged.notes)) or 'too few'}"
        remedy = "log longer, or tell with a column sun when the dish was off it"
        raise InputError(Fault(log.name, "", "", said, remedy))


def _middle_lit(log: Log, stretches: tuple[Stretch, ...]) -> float:
    """Mean of the temperatures with the sun on. [degC]"""
    lit = np.concatenate([one.heat_c[one.is_on & (one.drive > 0.0)] for one in stretches])
    if not len(lit):
        raise InputError(Fault(log.name, "", "", "has no usable reading with the sun on", "log a heating, too"))
    return float(lit.mean())


def _moves(
    log: Log, given: Given, judged: Judged, finds_wall: bool, told: Callable[[Log, Given, Heating], dict[str, float]]
) -> dict[str, dict[str, float]]:
    """How far each uncertain number that was given, off by its error, moves the numbers told: all is fitted anew."""
    found = {}
    for name in _uncertain(log, given):
        ends = []
        for sign in (1.0, -1.0):
            other = given.moved(name, sign * given.amounts[name].sd)
            again = _fitted(log, other, _stretches(log, other, _corrected(log, other), judged), finds_wall)
            ends.append(told(log, other, again))
        found[name] = {key: 0.5 * abs(ends[0][key] - ends[1][key]) for key in ends[0]}
    return found


def _completed(log: Log, scene: Scene, dni: float, notes: list[str]) -> Given:
    """What was given, with defaults for what was not."""
    amounts, words = dict(log.given.amounts), dict(log.given.words)
    if "water_kg" not in amounts:
        remedy = "write a line such as # water_kg = 2.5 +- 0.02 at the top of the log"
        raise InputError(Fault(log.name, "water_kg", "", "is missing: the mass of the water", remedy))
    if "vessel_j_k" not in amounts:
        amounts["vessel_j_k"] = Amount(0.0)
        notes.append("heat that the vessel itself takes is not counted; give vessel_j_k (500 J/K per kg of steel)")
    amounts.setdefault("air_c", amount_of(scene.air.temperature_c))
    amounts.setdefault("offset_c", Amount(0.0))
    amounts.setdefault("dni_scale", Amount(1.0))
    if "dni_w_m2" not in amounts:
        written = scene.sun.dni_w_m2
        amounts["dni_w_m2"] = Amount(dni) if written is None else amount_of(written)
        if log.dni_w_m2 is None:
            notes.append(f"the log tells no irradiance; the scene's {dni:.0f} W/m2 is taken for all of it")
    is_infrared = bool({"set_emissivity", "emissivity", "reflected_c"} & set(amounts))
    words.setdefault("thermometer", "infrared" if is_infrared else "contact")
    words.setdefault("spot", "water")
    if words["thermometer"] == "infrared":
        _complete_infrared(log, amounts, words, notes)
    return Given(amounts, words)


def _complete_infrared(log: Log, amounts: dict[str, Amount], words: dict[str, str], notes: list[str]) -> None:
    sees_wall = words["spot"] == "wall" if log.is_wall is None else bool(log.is_wall.any())
    if "emissivity" not in amounts and sees_wall:
        remedy = "tape or matt paint has about 0.95; write # emissivity = 0.95 +- 0.02"
        raise InputError(Fault(log.name, "emissivity", "", "is missing: that of the wall the thermometer saw", remedy))
    amounts.setdefault("emissivity", WATER_EMISSIVITY)
    if "set_emissivity" not in amounts:
        amounts["set_emissivity"] = Amount(FACTORY_EMISSIVITY)
        notes.append(f"the infrared thermometer is taken to be set to {FACTORY_EMISSIVITY:g}, as it is when bought")
    amounts.setdefault("reflected_c", amounts["air_c"])
    amounts.setdefault("instrument_c", Amount(amounts["air_c"].value))


def _boils_at(scene: Scene) -> float:
    """Boiling temperature at the scene's pressure, or that of its altitude. [degC]"""
    if scene.air.pressure_pa is not None:
        return boiling_c(nominal(scene.air.pressure_pa))
    if scene.site is None or not scene.site.altitude_m:
        return boiling_c(STANDARD_PA)
    from pvlib.atmosphere import alt2pres

    return boiling_c(float(alt2pres(scene.site.altitude_m)))


def _corrected(log: Log, given: Given) -> np.ndarray:
    """Temperatures behind the readings. [degC]"""
    shown = log.reading_c - given.value("offset_c")
    if given.words["thermometer"] != "infrared":
        return shown
    how = {name: given.value(name) for name in ("set_emissivity", "reflected_c", "instrument_c")}
    heat = true_temperature(shown, emissivity=given.value("emissivity"), **how)
    if log.is_wall is not None:
        water = true_temperature(shown, emissivity=WATER_EMISSIVITY.value, **how)
        heat = np.where(log.is_wall, heat, water)
    bad = ~np.isfinite(heat)
    if bad.any():
        said = f"reads {log.reading_c[bad][0]:.1f} degC, less than the reflected radiation alone would give"
        remedy = "check emissivity and reflected_c"
        raise InputError(Fault(f"{log.name}:{log.lines[bad][0]}", "", "", said, remedy))
    return heat


def _walls(log: Log, given: Given) -> np.ndarray:
    if log.is_wall is not None:
        return log.is_wall
    return np.full(len(log.time_s), given.words["spot"] == "wall")


def _finds_wall(log: Log, given: Given, judged: Judged, notes: list[str]) -> bool:
    """Whether the wall's lead over the water is to be found from the readings."""
    wall = _walls(log, given)
    if given.has("wall_k_w") or not wall.any():
        return False
    used = np.concatenate([np.zeros(0, dtype=np.int64), *judged.stretches])
    lit = log.is_sun_on[used]
    if len(used) and (not wall[used].all() or (lit.any() and not lit.all())):
        return True
    notes.append(
        "all readings are of the wall, which is hotter than the water by an unknown amount: power is hardly touched, "
        "but losses count from the wall. Give wall_k_w, read the water too (column spot), or log on after the dish is "
        "turned away (column sun)"
    )
    return False


def _reference(log: Log, given: Given) -> float:
    """Irradiance that power is told for. [W/m2]"""
    if log.dni_w_m2 is None:
        return given.value("dni_w_m2")
    lit = log.dni_w_m2[log.is_sun_on & (log.dni_w_m2 > 0.0)]
    if not len(lit):
        said = "has no irradiance above 0 while the sun is on"
        raise InputError(Fault(log.name, "dni_w_m2", "", said, "check the columns dni_w_m2 and sun"))
    return float(np.median(lit)) * given.value("dni_scale")


def _reference_sd(log: Log, given: Given) -> float:
    if log.dni_w_m2 is None:
        return given.amounts["dni_w_m2"].sd
    scale = given.amounts["dni_scale"]
    return _reference(log, given) * scale.sd / scale.value


def _stretches(log: Log, given: Given, heat: np.ndarray, judged: Judged) -> tuple[Stretch, ...]:
    """Readings as the heat balance takes them."""
    wall = _walls(log, given)
    drive = np.ones(len(heat))
    if log.dni_w_m2 is not None:
        drive = log.dni_w_m2 * given.value("dni_scale") / _reference(log, given)
    air = np.full(len(heat), given.value("air_c")) if log.air_c is None else log.air_c
    return tuple(
        Stretch(
            log.time_s[one] - log.time_s[one[0]],
            *(values[one] for values in (heat, drive, log.is_sun_on, air, wall)),
        )
        for one in judged.stretches
    )


def _fitted(log: Log, given: Given, stretches: tuple[Stretch, ...], finds_wall: bool) -> Heating:
    wall = None if finds_wall else (given.value("wall_k_w") if given.has("wall_k_w") else 0.0)
    capacity = given.value("water_kg") * WATER_J_KG_K + given.value("vessel_j_k")
    return fit_heating(stretches, capacity_j_k=capacity, wall_k_w=wall, step_k=log.step_c)


def _values(log: Log, given: Given, fit: Heating, *, outline_m2: float, middle: float) -> dict[str, float]:
    """The numbers told, from a fit."""
    air = given.value("air_c") if log.air_c is None else float(log.air_c.mean())
    return {
        "power_w": fit.power_w,
        "net_power_w": fit.power_w - fit.loss_w_k * (middle - air),
        "loss_w_k": fit.loss_w_k,
        "optical_efficiency": fit.power_w / (_reference(log, given) * outline_m2),
        "wall_k_w": fit.wall_k_w,
    }


def _scatter(log: Log, given: Given, fit: Heating, outline_m2: float, middle: float) -> dict[str, float]:
    """Standard errors of the numbers told, from the scatter of the readings."""
    air = given.value("air_c") if log.air_c is None else float(log.air_c.mean())
    power, loss = math.sqrt(fit.covariance[0, 0]), math.sqrt(fit.covariance[1, 1])
    weights = np.array([1.0, air - middle])
    return {
        "power_w": power,
        "net_power_w": math.sqrt(float(weights @ fit.covariance[:2, :2] @ weights)),
        "loss_w_k": loss,
        "optical_efficiency": power / (_reference(log, given) * outline_m2),
        "wall_k_w": math.sqrt(fit.covariance[2, 2]),
    }


def _uncertain(log: Log, given: Given) -> Iterator[str]:
    """Names of the given numbers whose error counts."""
    for name, amount in given.amounts.items():
        is_replaced = (name == "air_c" and log.air_c is not None) or (name == "dni_w_m2" and log.dni_w_m2 is not None)
        if amount.sd > 0.0 and not is_replaced and not (name == "dni_scale" and log.dni_w_m2 is None):
            yield name


def _finding(key: str, value: float, shares: dict[str, float], freedom: float) -> Finding:
    """A number with its interval; not told when the interval is wider than the number itself."""
    given_se = math.hypot(0.0, *(se for name, se in shares.items() if name != "readings"))
    one = finding(key, UNITS[key], value, statistical_se=shares["readings"], freedom=freedom, given_se=given_se)
    told = 0.5 * (one.high - one.low) < abs(value)
    remarks = {
        "loss_w_k": "the log cannot tell the losses: heat on until the curve bends, or turn the dish away and log the "
        "cooling (column sun)",
        "wall_k_w": "the log cannot tell how much hotter the wall is than the water",
    }
    said = "" if told else remarks.get(key, "the log cannot tell it")
    return Finding(key, one.unit, value, one.se, one.low, one.high, told, said)


def _remarks(fit: Heating, findings: dict[str, Finding], given: Given) -> Iterator[str]:
    if fit.inflated_by > 1.0:
        yield (
            f"readings scatter about the fit in runs (correlation {fit.echo:.2f} from one to the next), so the errors "
            f"are widened {fit.inflated_by:.1f} times: stirring, drifting sunlight, or losses that grow faster than "
            "the temperature"
        )
    exact = [name for name in ("water_kg", "dni_w_m2", "emissivity", "reflected_c") if _is_exact(given, name)]
    if exact:
        yield f"taken as exact, for want of a +- behind them: {', '.join(exact)}"
    efficiency = findings["optical_efficiency"]
    if efficiency.low is not None and efficiency.low > 1.0:
        yield "more power than the sun gave: check mass, irradiance and the unit of the temperatures"


def _is_exact(given: Given, name: str) -> bool:
    if name in ("emissivity", "reflected_c") and given.words["thermometer"] != "infrared":
        return False
    return name in given.amounts and given.amounts[name].sd == 0.0
