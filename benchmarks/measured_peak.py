"""A consistency note, not a test: the published peak of a large dish, by both readings of its mirror error.

Source: G. Johnston, J. Solar Energy Eng. 117 (1995) 290: a dish of 400 m2, focal length 13.1 m, mean
surface error 6 mrad, peak of 1790 suns normalised to full reflectivity. Two things are our reading: the
outline is taken as a circle of 400 m2, and the sun as a uniform disc of 4.65 mrad.

What "mean surface error 6 mrad" means is open: a standard deviation for each of the two axes of the normal,
or that of the whole deviation (6 / sqrt(2) per axis). Both are traced.

The peak is the mean over a black disc of 20 mm radius at the focus, an eighth of the spot's standard
deviation, which takes off less than half a percent.

Run with ``python benchmarks/measured_peak.py [rays]``.
"""

from __future__ import annotations

import math
import sys
import tempfile
from pathlib import Path

import dishtrace as dt

MEASURED_SUNS = 1790.0
APERTURE_M2 = 400.0
FOCAL_LENGTH_M = 13.1
SURFACE_ERROR_MRAD = 6.0
DNI_W_M2 = 1000.0


def scene_text(slope_error_mrad: float) -> str:
    """Perfectly reflecting dish with a small black disc at the focus."""
    return f"""title = "400 m2 dish, slope error {slope_error_mrad:.3f} mrad per axis"

[sun]
dni_w_m2 = {DNI_W_M2!r}

[mount]
kind = "two-axis"

[dish]
focal_length_m = {FOCAL_LENGTH_M!r}
reflectance = 1.0
slope_error_mrad = {slope_error_mrad!r}

[dish.outline]
shape = "circle"
radius_m = {math.sqrt(APERTURE_M2 / math.pi)!r}

[[part]]
name = "target"
role = "receiver"
shape = "disc"
radius_m = 0.02
axis = [0.0, 0.0, -1.0]
surface = {{ absorptance = 1.0, emittance = 1.0, specular_share = 0.0 }}
"""


def peak_suns(slope_error_mrad: float, rays: int, folder: Path) -> tuple[float, float]:
    """Peak concentration on the target and its standard error, in suns."""
    path = folder / "dish.toml"
    path.write_text(scene_text(slope_error_mrad), encoding="utf-8")
    result = dt.trace(dt.load_scene(path), rays=rays, seed=1)
    mean = result.parts["target"].mean_w_m2.scaled(1.0 / DNI_W_M2)
    return mean.value, mean.se


def main() -> None:
    """Trace both readings and print them beside the measurement."""
    rays = int(sys.argv[1]) if len(sys.argv) > 1 else 1 << 23
    readings = {"per axis": SURFACE_ERROR_MRAD, "radial": SURFACE_ERROR_MRAD / math.sqrt(2.0)}
    print(f"measured, normalised to full reflectivity   {MEASURED_SUNS:7.0f} suns")
    with tempfile.TemporaryDirectory() as folder:
        for name, slope_error in readings.items():
            peak, error = peak_suns(slope_error, rays, Path(folder))
            reading = f"6 mrad read as {name:<9}({slope_error:.3f} per axis)"
            print(f"{reading} {peak:9.0f} suns +- {error:.0f}, {peak / MEASURED_SUNS:.3f} of the measured")


if __name__ == "__main__":
    main()
