"""A photograph of the spot as linear light, with the pixels that are overexposed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dishtrace.errors import COMMAND_LINE, Fault, InputError

SRGB, LINEAR = "srgb", "linear"
NEAR_FULL = 0.994
"""Codes from this share of the highest on count as overexposed: 254 of 255. [–]"""
PLATEAU_PIXELS, PLATEAU_FACTOR = 40, 6.0
"""So many pixels at the very highest code that occurs, and so many times more than at the codes just below it, are a
plateau: the camera clipped below its highest code (common practice, no source)."""
SRGB_SPREAD = 0.03
"""Relative standard error of the exponent of a camera's tone curve that is only assumed to be that of sRGB (common
practice, no source). [–]"""


@dataclass(frozen=True, eq=False)
class Photo:
    """A photograph.

    Parameters
    ----------
    name : str
    light : (rows, columns) float32
        Linear light, mean of the colours, 1 at the highest code. [–]
    is_full : (rows, columns) bool
        Overexposed in any colour.
    tone : str
        How codes were taken to light, in words.
    tone_spread : float
        Relative standard error of the exponent assumed. [–]
    """

    name: str
    light: np.ndarray
    is_full: np.ndarray
    tone: str
    tone_spread: float


def read_photo(path: str | Path, *, tone: str | float | None = None) -> Photo:
    """A photograph from a file (png, jpeg, tiff ...).

    Parameters
    ----------
    path : str or Path
        Turned as its own note on orientation says, as viewers show it.
    tone : "srgb", "linear" or float, optional
        Curve that its codes are written with: that of sRGB, none, or light = code^tone. Left out: sRGB for 8 bits,
        none for more.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    codes, highest = _codes(Path(path), str(path))
    is_eight = highest == 255
    chosen = (SRGB if is_eight else LINEAR) if tone is None else tone
    is_full = (codes >= NEAR_FULL * highest).any(axis=2)
    is_full |= _plateau(codes, highest)
    if isinstance(chosen, str) and chosen not in (SRGB, LINEAR):
        chosen = _exponent(chosen)
    light = np.zeros(codes.shape[:2], dtype=np.float32)
    table = _curve(np.arange(highest + 1) / highest, chosen).astype(np.float32)
    for colour in range(codes.shape[2]):
        light += table[codes[:, :, colour]]
    words = {SRGB: "sRGB curve (IEC 61966-2-1) undone", LINEAR: "codes taken as light"}
    spread = SRGB_SPREAD if chosen == SRGB else 0.0
    said = words.get(chosen, f"light = code^{chosen}")
    return Photo(str(path), light / codes.shape[2], is_full, said, spread)


def _exponent(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0.2 <= value <= 5.0:
        raise InputError(Fault(COMMAND_LINE, "--tone", str(text), "must be srgb, linear or an exponent from 0.2 to 5"))
    return value


def _codes(path: Path, name: str) -> tuple[np.ndarray, int]:
    """Codes (rows, columns, colours) and the highest possible one."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(path) as picture:
            turned = ImageOps.exif_transpose(picture)
            if turned.mode.startswith("I"):
                return np.clip(np.asarray(turned), 0, 65535).astype(np.uint16)[:, :, np.newaxis], 65535
            colours = turned if turned.mode in ("L", "RGB") else turned.convert("RGB")
            codes = np.asarray(colours)
    except FileNotFoundError:
        raise InputError(Fault(name, "", "", "does not exist", "check the name and the folder")) from None
    except (UnidentifiedImageError, Image.DecompressionBombError, OSError, ValueError, SyntaxError) as error:
        reason = getattr(error, "strerror", None) or "not a picture, too large, or damaged"
        raise InputError(Fault(name, "", "", f"cannot be read: {reason}", "save it as png or jpeg")) from None
    return (codes[:, :, np.newaxis] if codes.ndim == 2 else codes), 255


def _curve(share: np.ndarray, tone: str | float) -> np.ndarray:
    """Light of a code's share of the highest. Source: IEC 61966-2-1:1999 for sRGB."""
    if tone == LINEAR:
        return share
    if tone == SRGB:
        return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return share ** float(tone)


def _plateau(codes: np.ndarray, highest: int) -> np.ndarray:
    """Pixels on a plateau at the highest code that occurs, in any colour."""
    found = np.zeros(codes.shape[:2], dtype=bool)
    for colour in range(codes.shape[2]):
        one = codes[:, :, colour]
        top = int(one.max())
        width = max(highest // 255, 1)
        counts = np.bincount(one.ravel(), minlength=highest + 1)
        below = counts[max(top - 5 * width, 0) : top]
        if counts[top] >= PLATEAU_PIXELS and counts[top] > PLATEAU_FACTOR * max(
            float(below.mean()) if len(below) else 0.0, 1.0
        ):
            found |= one == top
    return found if not found.all() else np.zeros_like(found)
