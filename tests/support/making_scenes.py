"""Scenes and readers for the tests of the making documents."""

from __future__ import annotations

import base64
import re
import zlib
from pathlib import Path

import numpy as np

from dishtrace.scene.model import Scene
from dishtrace.scene.read import scene_from_text

CIRCLE = 'shape = "circle"\nradius_m = 0.8'


def mirror_scene(facets: str = "", *, outline: str = CIRCLE, focal_length: float = 0.9, title: str = "bench") -> Scene:
    """A scene with one mirror and nothing else; `facets` is the inside of [dish.facets], empty for one skin."""
    table = f"[dish.facets]\n{facets}\n" if facets else ""
    return scene_from_text(
        f'title = "{title}"\n[sun]\ndni_w_m2 = 900.0\n[dish]\nfocal_length_m = {focal_length}\nreflectance = 0.9\n'
        f"[dish.outline]\n{outline}\n{table}"
    )


TILES = 'layout = "square-grid"\nsize_m = 0.15\ngap_m = 0.01'
DISCS = 'layout = "hex-grid"\nshape = "circle"\nsize_m = 0.2\ngap_m = 0.01'
PETALS = 'layout = "petals"\ncount = 12\ngap_m = 0.003'
STRIPS = 'layout = "strips"\nwidth_m = 0.2\ngap_m = 0.01'
HOLLOW = f'{DISCS}\ncurve = "spherical"\nradius_m = 1.8'


def shoelace(points: np.ndarray) -> float:
    """Area of a polygon, counter-clockwise positive."""
    x, y = np.asarray(points, dtype=float).T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))


def pdf_pages(path: Path) -> tuple[list[tuple[float, float]], list[str]]:
    """Sizes (in millimetres) and drawing commands of the pages of a PDF file of ours, in their order."""
    raw = path.read_bytes()
    sizes = [
        (float(box[1]) * 25.4 / 72.0, float(box[2]) * 25.4 / 72.0)
        for box in re.finditer(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", raw)
    ]
    objects = {int(o[1]): o[2] for o in re.finditer(rb"\n(\d+) 0 obj(.*?)endobj", raw, re.DOTALL)}
    order = [int(page[1]) for page in re.finditer(rb"/Contents (\d+) 0 R /MediaBox", raw)]
    texts = []
    for number in order:
        stream = re.search(rb"stream\r?\n(.*?)endstream", objects[number], re.DOTALL)
        packed = base64.a85decode(stream[1].strip().removesuffix(b"~>"))
        texts.append(zlib.decompress(packed).decode("latin-1"))
    return sizes, texts
