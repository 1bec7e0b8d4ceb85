"""Insulation behind the sheets of a part."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.heat.losses import STEFAN_BOLTZMANN, Losses
from dishtrace.scene.uncertain import nominal

if TYPE_CHECKING:
    from dishtrace.scene.model import Part


def insulated(losses: Losses, part: Part) -> Losses:
    """Losses of a part with the insulation that its contents describe behind it; without any, as they are.

    The back faces of a sheet then lose heat through the insulation, in series with what its cool skin gives off (air
    and radiation near the temperature of the air); a closed solid is filled with it and loses as before.
    """
    contents = part.contents
    backs = [number for number, face in enumerate(losses.faces) if face.side == "back"]
    if contents is None or contents.kind != "insulation" or not backs:
        return losses
    air = losses.ambient.temperature
    through = float(nominal(contents.thickness_m)) / float(nominal(contents.conductivity_w_mk))
    coefficients, emittance = losses.coefficients.copy(), losses.emittance.copy()
    for number in backs:
        skin = float(losses.coefficient(number, air + 10.0)) + 4.0 * emittance[number] * STEFAN_BOLTZMANN * air**3
        coefficients[number] = 1.0 / (through + 1.0 / skin)
        emittance[number] = 0.0
    return replace(losses, coefficients=np.asarray(coefficients), emittance=emittance)
