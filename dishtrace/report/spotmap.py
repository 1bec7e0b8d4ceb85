"""What the picture of a spot shows: which bins, which contour lines, and from where it is seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dishtrace.report.fluxmap import round_levels

if TYPE_CHECKING:
    from dishtrace.flux.result import Result, ScreenResult


def smoothed(values: np.ndarray) -> np.ndarray:
    """Mean over 3 x 3 bins, edges repeated; (n, m) in and out."""
    padded = np.pad(values, 1, mode="edge")
    n, m = values.shape
    return sum(padded[i : i + n, j : j + m] for i in range(3) for j in range(3)) / 9.0


def contour_levels(values: np.ndarray) -> np.ndarray:
    """Even levels at round numbers and one at a fifth of the lowest, for the skirt of the spot; none without light."""
    levels = round_levels(0.0, float(values.max()))
    return np.concatenate([0.2 * levels[:1], levels])


def viewer(result: Result, screen: ScreenResult) -> str:
    """From where a screen's map is seen, x running right and y up; a sentence."""
    given = next((each for each in result.scene.screens if each.name == screen.name), None)
    if given is None or tuple(given.facing[:2]) == (0.0, 0.0):
        frame = "ground" if given is not None and given.frame == "ground" else "dish"
        return f"Seen from +z of the {frame} frame."
    return "Seen from the side that the screen faces."


def typical_error(flux: np.ndarray, error: np.ndarray, known: np.ndarray) -> float:
    """Median relative standard error where it is known, NaN when it is nowhere. [–]."""
    return float(np.median(error[known] / flux[known])) if np.any(known) else float("nan")
