"""Temperatures with nothing drawn off against a table worked out apart, and the closure with the sun.

Planted errors that go red: T^3 for T^4, degrees C for K, half the area, the reflectance left out.
"""

from __future__ import annotations

import numpy as np
import pytest

from dishtrace.heat.air import Ambient
from dishtrace.heat.balance import balance, settled
from dishtrace.heat.faces import Face
from dishtrace.heat.losses import GRID, STEFAN_BOLTZMANN, Losses
from dishtrace.stats import Estimate

# rho alpha C G = eps sigma (T^4 - T_s^4) + h (T - T_a), G = 1000 W/m2, T_a = T_s = 300 K. Solved by bracketing apart
# from this program; one digit after the point as printed there.
CASES = {"black": (1.0, 1.0, 1.0, 0.0), "grey": (0.85, 0.95, 0.95, 0.0), "grey in air": (0.85, 0.95, 0.95, 15.0)}
CASES |= {"selective": (0.85, 0.95, 0.10, 15.0), "metal": (0.85, 0.45, 0.35, 15.0)}
TABLE = {
    1: (400.5, 389.8, 336.7, 351.1, 322.0),
    10: (655.3, 630.5, 546.7, 732.5, 489.7),
    50: (971.3, 933.0, 878.8, 1427.0, 860.5),
    100: (1153.7, 1108.0, 1066.5, 1791.6, 1077.5),
    500: (1723.6, 1655.1, 1634.2, 2834.0, 1711.4),
    1000: (2049.5, 1967.9, 1952.7, 3403.6, 2058.4),
}


def one_face(emittance: float, coefficient: float, ambient: Ambient) -> Losses:
    face = Face("plate", {}, "front", np.arange(1), 1.0, np.array([0.5]))
    return Losses((face,), np.array([emittance]), ambient, np.full((1, len(GRID)), coefficient))


@pytest.mark.parametrize("concentration", TABLE)
@pytest.mark.parametrize("case", CASES)
def test_table_of_stagnation_temperatures(concentration: int, case: str) -> None:
    reflectance, absorptance, emittance, coefficient = CASES[case]
    losses = one_face(emittance, coefficient, Ambient(300.0, 300.0))
    absorbed = Estimate(reflectance * absorptance * concentration * 1000.0, 0.0)
    found = balance(absorbed, losses, sunlight=concentration * 1000.0)
    assert found.stagnation_k.value == pytest.approx(TABLE[concentration][list(CASES).index(case)], abs=0.051)
    assert sum(found.losses_w.values()) == pytest.approx(absorbed.value, rel=1e-9)


def test_limit_of_concentration_gives_the_suns_temperature() -> None:
    # 1361 W/m2 at the limit of concentration, 46239 for a sun of 695700 km at 1 au: 5772 K, the sun's nominal effective
    # temperature (IAU 2015 Resolution B3).
    found = settled(1361.0 * 46239.0, lambda wall: STEFAN_BOLTZMANN * wall**4, coldest=3.0)
    assert found == pytest.approx(5772.0, abs=1.0)


def test_error_of_the_trace_becomes_that_of_the_temperature() -> None:
    losses = one_face(1.0, 0.0, Ambient(300.0, 300.0))
    hot = balance(Estimate(101_000.0, None), losses, sunlight=1.0).stagnation_k.value
    found = balance(Estimate(100_000.0, 1000.0), losses, sunlight=1.0).stagnation_k
    assert found.se == pytest.approx(hot - found.value, rel=0.01)


def test_efficiency_falls_from_absorbed_share_to_zero() -> None:
    found = balance(Estimate(800.0, 1.0), one_face(0.9, 10.0, Ambient(300.0, 280.0)), sunlight=1000.0)
    curve = found.curve
    assert curve["temperature_k"][0] == 300.0
    assert curve["efficiency"][0] == pytest.approx((800.0 - 0.45 * STEFAN_BOLTZMANN * (300.0**4 - 280.0**4)) / 1000.0)
    assert curve["efficiency"][-1] == pytest.approx(0.0, abs=1e-9)
    assert np.all(np.diff(curve["net_w"]) < 0.0)
