"""The best radius of a hot plate in a Gaussian spot that loses heat by radiation alone: a case with a closed form.

A dish of long focus under a Gaussian sun makes a spot of sigma = f sigma_sun per axis, and a disc of radius r catches
1 - exp(-r^2 / (2 sigma^2)) of it; it shades its own area of the mirror, takes the sun on its back, and radiates from
both sides, 2 e s (T^4 - T_0^4) per area. The radius of most net heat is where the marginal gain is that loss (worked
out by hand; J. A. Duffie, W. A. Beckman, *Solar Engineering of Thermal Processes*, weigh intercept against losses in
the same way in the chapter on concentrating collectors; from memory).

Shown to fail on: losses of one side only, degrees C taken for K, sun on the back forgotten.
"""

import numpy as np
import pytest

import dishtrace as dt
from dishtrace.heat import convection
from dishtrace.scene.read import scene_from_text

DNI, FOCAL, SUN, EMITTANCE = 900.0, 10.0, 5e-3, 0.9
SIGMA = FOCAL * SUN
STEFAN_BOLTZMANN = 5.670374419e-8  # CODATA 2018
SCENE = f"""
[sun]
dni_w_m2 = {DNI}
shape = {{ profile = "gaussian", sigma_mrad = {1e3 * SUN} }}
[dish]
focal_length_m = {FOCAL}
reflectance = 1.0
slope_error_mrad = 0.0
outline = {{ shape = "circle", radius_m = 1.0 }}
[[part]]
name = "plate"
role = "receiver"
shape = "disc"
radius_m = 0.05
axis = [0, 0, -1]
surface = {{ absorptance = 1.0, emittance = {EMITTANCE} }}
[air]
temperature_c = 20.0
sky_temperature_c = 20.0
"""


def best_radius(temperature_c):
    """Of the closed form, on a fine grid."""
    radius = np.linspace(0.2 * SIGMA, 5.0 * SIGMA, 200_001)
    mirror = DNI * np.pi * (1.0 - radius**2) * (1.0 - np.exp(-(radius**2) / (2.0 * SIGMA**2)))
    loss = 2.0 * EMITTANCE * STEFAN_BOLTZMANN * ((temperature_c + 273.15) ** 4 - 293.15**4) - DNI
    return radius[np.argmax(mirror - loss * np.pi * radius**2)]


def test_best_radius_of_a_radiating_plate_in_a_gaussian_spot(monkeypatch, seed):
    monkeypatch.setattr(convection, "plate", lambda *_, **__: 0.0)
    scene = scene_from_text(SCENE)
    sizing = dt.size(scene, "plate", radius=(0.02, 0.2), temperatures_c=(300.0, 600.0), rays=16384, seed=seed)
    for best in sizing.bests:
        (size,) = best.sizes
        exact = best_radius(best.temperature_c)
        assert size.value == pytest.approx(exact, rel=0.01)
        assert size.low < exact * 1.004 and exact * 0.996 < size.high  # the closed form itself is good to 4 in 1000
        low, high = best.flat
        assert low < exact < high
    for share, (radius, _) in sizing.captures.items():
        assert radius.value == pytest.approx(SIGMA * np.sqrt(-2.0 * np.log(1.0 - share)), rel=0.01)
