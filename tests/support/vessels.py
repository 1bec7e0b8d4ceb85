"""Small tanks for the tests of fillings."""

from __future__ import annotations

from collections.abc import Callable

from dishtrace.heat.tank import Hole, Tank
from dishtrace.heat.vessel import Vessel

ATM = 101325.0
ROOM = 293.15


def no_loss(_: float) -> float:
    return 0.0


def tank(*holes: Hole, volume: float = 2e-3, height: float = 0.2, is_ball: bool = False) -> Tank:
    """Two litres, 200 mm high, unless told otherwise."""
    return Tank(volume, height, holes, ambient_pressure=ATM, ambient_temperature=ROOM, is_ball=is_ball)


def vessel(
    *holes: Hole,
    power: float = 700.0,
    water: float = 1.2,
    loss: Callable[[float], float] = no_loss,
    wall_heat: float = 0.0,
    hours: float = 4.0,
    limit: float = 1e6,
    **kinds,
) -> Vessel:
    """A tank of 1.2 kg of water at 20 degC, without wall and losses unless told otherwise."""
    rotor = kinds.pop("rotor", None)
    return Vessel(
        tank=tank(*holes, **kinds),
        water=water,
        start=ROOM,
        absorbed=power,
        loss=loss,
        wall_heat=wall_heat,
        pressure_limit=lambda _: limit,
        wall_limit=1500.0,
        duration=3600.0 * hours,
        rotor=rotor,
    )
