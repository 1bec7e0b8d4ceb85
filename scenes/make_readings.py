"""Writes the invented readings of the schoolyard dish: a heating log and a photograph of its spot.

Both are made from a trace of another dish than the scene describes, with noise: a worse and duller mirror that is not
quite aimed. `dishtrace fit` should find that out. Run it after changing a number: python scenes/make_readings.py
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

import dishtrace as dt
from dishtrace.chance import normals
from dishtrace.flux.result import ScreenResult
from dishtrace.scene.tables import Screen
from dishtrace.study.fit.heating import WATER_J_KG_K, Stretch, temperatures
from dishtrace.study.fit.infrared import shown_temperature

FOLDER = Path(__file__).parent
SLOPE_MRAD, AIM_MRAD, CLEANLINESS = 7.5, (2.0, -1.5), 0.80
WATER_KG, VESSEL_J_K, LOSS_W_K, AIR_C = 4.5, 600.0, 4.0, 24.0
RAYS = 2**20
WIDTH, HEIGHT, MM_PER_PIXEL, AXIS_PX = 400, 320, 0.5, (196.0, 163.0)
NOISE_K, SEED = 0.25, 20


def true_scene() -> dt.Scene:
    """The dish that was really built, so to speak."""
    scene = dt.load_scene(FOLDER / "schoolyard-pot.toml")
    dish = scene.dish.model_copy(update={"slope_error_mrad": SLOPE_MRAD, "cleanliness": CLEANLINESS})
    mount = scene.mount.model_copy(update={"pointing_offset_mrad": AIM_MRAD})
    target = Screen(name="target", offset_m=0.0, half_width_m=0.12, through_receivers=True)
    return scene.model_copy(update={"dish": dish, "mount": mount, "screens": (target,)})


def heating_log(power_w: float) -> str:
    """Readings every minute, a cloud, one slip of the unit, and the cooling after the dish is turned away."""
    minutes = np.arange(0.0, 70.0)
    on = minutes < 50.0
    sun = np.where((minutes >= 32.0) & (minutes < 38.0), 0.0, 1.0)
    even = np.ones(len(minutes))
    stretch = Stretch(60.0 * minutes, even, sun, on, AIR_C * even, np.zeros(len(minutes), dtype=bool))
    numbers = {"power_w": power_w, "loss_w_k": LOSS_W_K, "capacity_j_k": WATER_KG * WATER_J_KG_K + VESSEL_J_K}
    water = temperatures(stretch, 21.0, **numbers)
    optics = {"set_emissivity": 0.95, "emissivity": 0.96, "reflected_c": 10.0, "instrument_c": AIR_C}
    shown = shown_temperature(water, **optics) + NOISE_K * normals(SEED, 0, len(water))
    lines = [
        "# Invented readings of an invented dish: made by make_readings.py from a trace, with noise.",
        f"# water_kg = {WATER_KG} +- 0.03",
        f"# vessel_j_k = {VESSEL_J_K:.0f} +- 100",
        f"# air_c = {AIR_C} +- 1",
        "# thermometer = infrared",
        "# spot = water",
        "# set_emissivity = 0.95",
        "# emissivity = 0.96 +- 0.01",
        "# reflected_c = 10 +- 10",
        "time_min,temperature_c,sun",
    ]
    for minute, heat, is_on in zip(minutes, shown, on, strict=True):
        if 17.0 <= minute < 23.0:
            continue
        text = f"{heat * 1.8 + 32.0:.1f} F" if minute == 9.0 else f"{heat:.1f}"
        lines.append(f"{minute:.0f},{text},{'on' if is_on else 'off'}")
    return "\n".join(lines) + "\n"


def photograph(screen: ScreenResult) -> np.ndarray:
    """Grey codes of a phone's picture, seen from the mirror's side."""
    from scipy import ndimage

    flux = screen.map_w_m2
    pitch = 2.0 * screen.half_width_m / flux.shape[0]
    rows, columns = np.indices((HEIGHT, WIDTH), dtype=np.float64)
    x, y = -1e-3 * MM_PER_PIXEL * (columns - AXIS_PX[0]), -1e-3 * MM_PER_PIXEL * (rows - AXIS_PX[1])
    places = [(y + screen.half_width_m) / pitch - 0.5, (x + screen.half_width_m) / pitch - 0.5]
    light = 0.8 * ndimage.map_coordinates(flux, places, order=3, mode="constant") / flux.max() + 0.02
    light = light + 0.008 * np.sqrt(light) * normals(SEED, 1, light.size).reshape(light.shape)
    light = np.clip(light, 0.0, 1.0)
    codes = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1.0 / 2.4) - 0.055)
    return np.round(255.0 * codes).astype(np.uint8)


def main() -> None:
    """Write schoolyard-heating.csv and schoolyard-spot.png."""
    result = dt.trace(true_scene(), rays=RAYS, seed=11)
    pot = result.parts["pot"]
    power = result.budget_w["receiver"].value + pot.direct_absorbed_w.value
    text = heating_log(power)
    (FOLDER / "schoolyard-heating.csv").write_text(text, encoding="utf-8")
    Image.fromarray(photograph(result.screens["target"])).save(FOLDER / "schoolyard-spot.png", optimize=True)
    print(f"power on the pot: {power:.1f} W")


if __name__ == "__main__":
    main()
