"""Sketches as DXF files: millimetres, scale 1:1, one layer for each kind of line."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.report.making.sketch import LAYERS, Label, Layer, Line, Shape, Sketch

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts import Modelspace

MILLIMETRES = 4
"""Code of millimetres in $INSUNITS: DXF reference, header variables [–]."""
WIDTHS = np.array([0, 5, 9, 13, 15, 18, 20, 25, 30, 35, 40, 50, 53, 60, 70])
"""Line widths that the format knows: DXF reference, lineweight [0.01 mm]."""


def write_dxf(sketch: Sketch, path: Path) -> None:
    """Write a sketch with its heading.

    Parameters
    ----------
    sketch : Sketch
        In millimetres.
    path : Path
        File to write.
    """
    import ezdxf

    document = ezdxf.new("R2010", setup=False)
    document.header["$INSUNITS"] = MILLIMETRES
    document.header["$MEASUREMENT"] = 1
    whole = sketch.with_heading()
    for name in dict.fromkeys(shape.layer for shape in whole.shapes):
        _add_layer(document, name, LAYERS[name])
    space = document.modelspace()
    for shape in whole.shapes:
        _add(space, shape)
    low, high = whole.extent()
    document.header["$EXTMIN"], document.header["$EXTMAX"] = (*low, 0.0), (*high, 0.0)
    document.set_modelspace_vport(height=float(1.1 * max(high - low)), center=tuple(0.5 * (low + high)))
    document.saveas(path)


def _add_layer(document: Drawing, name: str, layer: Layer) -> None:
    colour = tuple(int(layer.colour[k : k + 2], 16) for k in (0, 2, 4))
    added = document.layers.add(name, lineweight=int(WIDTHS[np.argmin(np.abs(WIDTHS - 100.0 * layer.width))]))
    if any(colour):
        added.rgb = colour
    if layer.dashes:
        steps = [length if k % 2 == 0 else -length for k, length in enumerate(layer.dashes)]
        document.linetypes.add(name, [sum(layer.dashes), *steps], description=name.lower())
        added.dxf.linetype = name


def _add(space: Modelspace, shape: Shape) -> None:
    how = {"layer": shape.layer}
    if isinstance(shape, Line):
        space.add_lwpolyline(shape.points.tolist(), close=shape.is_closed, dxfattribs=how)
    elif isinstance(shape, Label):
        _add_label(space, shape)
    elif shape.is_circle:
        space.add_circle(shape.center.tolist(), shape.semi_axes[0], dxfattribs=how)
    else:
        a, b = shape.semi_axes
        angle, long, short = (shape.angle, a, b) if a >= b else (shape.angle + 0.5 * np.pi, b, a)
        axis = (long * np.cos(angle), long * np.sin(angle), 0.0)
        space.add_ellipse((*shape.center.tolist(), 0.0), axis, short / long, dxfattribs=how)


def _add_label(space: Modelspace, label: Label) -> None:
    from ezdxf.enums import TextEntityAlignment

    text = space.add_text(label.text, height=label.height, rotation=label.angle_deg, dxfattribs={"layer": label.layer})
    align = TextEntityAlignment.MIDDLE_CENTER if label.is_centred else TextEntityAlignment.LEFT
    text.set_placement(label.place.tolist(), align=align)
