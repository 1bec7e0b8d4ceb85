"""Sketches as SVG files: millimetres, scale 1:1, one group for each layer."""

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np

from dishtrace.report.making.sketch import LAYERS, MM, Label, Layer, Line, Round, Shape, Sketch

WIDTH_AT_M = 0.6
"""Size of a drawing from which its lines are drawn wider than their layer says, so that a screen shows them [m]."""
HALO = 'paint-order="stroke" stroke="white" stroke-opacity="0.8" stroke-linejoin="round"'
"""Look of the edge around letters that keeps lines away from them."""
HALO_SHARE = 0.3
"""Width of that edge over the height of a letter [–]."""
MARGIN = 10.0
"""Left around the drawing [mm]."""
CAPITAL_SHARE = 0.73
"""Height of a capital letter over the size of its font, for the fonts that browsers take for sans-serif [–]."""


def write_svg(sketch: Sketch, path: Path) -> None:
    """Write a sketch with its heading.

    Parameters
    ----------
    sketch : Sketch
        In millimetres.
    path : Path
        File to write.
    """
    path.write_text(svg_text(sketch), encoding="utf-8")


def svg_text(sketch: Sketch) -> str:
    """A sketch with its heading as the text of an SVG file; one user unit is one millimetre, y turned over."""
    whole = sketch.with_heading()
    low, high = whole.extent()
    low, high = low - MARGIN, high + MARGIN
    width, height = high - low
    widening = max(1.0, float(np.max(high - low)) / (WIDTH_AT_M * MM))
    groups = [
        _group(name, LAYERS[name], widening, [shape for shape in whole.shapes if shape.layer == name])
        for name in LAYERS
        if any(shape.layer == name for shape in whole.shapes)
    ]
    words = " ".join(sketch.heading)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.3f}mm" height="{height:.3f}mm" '
        f'viewBox="{low[0]:.3f} {-high[1]:.3f} {width:.3f} {height:.3f}">\n'
        f"<title>{escape(sketch.heading[0])}</title>\n"
        f"<desc>{escape(words)}</desc>\n"
        f'<rect x="{low[0]:.3f}" y="{-high[1]:.3f}" width="{width:.3f}" height="{height:.3f}" fill="white"/>\n'
        + "\n".join(groups)
        + "\n</svg>\n"
    )


def _group(name: str, layer: Layer, widening: float, shapes: list[Shape]) -> str:
    lengths = " ".join(f"{widening * length:g}" for length in layer.dashes)
    dashes = f' stroke-dasharray="{lengths}"' if layer.dashes else ""
    width = f"{widening * layer.width:.3g}"
    lines = [_drawn(shape) for shape in shapes if not isinstance(shape, Label)]
    labels = [_written(shape) for shape in shapes if isinstance(shape, Label)]
    parts = []
    if lines:
        parts.append(
            f'<g id="{name}" fill="none" stroke="#{layer.colour}" stroke-width="{width}"{dashes}>\n'
            + "\n".join(lines)
            + "\n</g>"
        )
    if labels:
        parts.append(
            f'<g id="{name}-text" fill="#{layer.colour}" font-family="sans-serif" {HALO}>\n'
            + "\n".join(labels)
            + "\n</g>"
        )
    return "\n".join(parts)


def _drawn(shape: Line | Round) -> str:
    if isinstance(shape, Line):
        points = " ".join(f"{x:.6f},{y:.6f}" for x, y in np.round(shape.points * (1.0, -1.0), 6) + 0.0)
        return f'<{"polygon" if shape.is_closed else "polyline"} points="{points}"/>'
    (x, y), (a, b) = shape.center, shape.semi_axes
    if shape.is_circle:
        return f'<circle cx="{x:.6f}" cy="{-y:.6f}" r="{a:.6f}"/>'
    turn = f'transform="rotate({-np.degrees(shape.angle):.6f} {x:.6f} {-y:.6f})"'
    return f'<ellipse cx="{x:.6f}" cy="{-y:.6f}" rx="{a:.6f}" ry="{b:.6f}" {turn}/>'


def _written(label: Label) -> str:
    x, y = label.place
    turn = f' transform="rotate({-label.angle_deg:g} {x:.3f} {-y:.3f})"' if label.angle_deg else ""
    drop = 0.5 * label.height if label.is_centred else 0.0
    anchor = ' text-anchor="middle"' if label.is_centred else ""
    return (
        f'<text x="{x:.3f}" y="{-y + drop:.3f}" font-size="{label.height / CAPITAL_SHARE:.3f}" '
        f'stroke-width="{HALO_SHARE * label.height:.3f}"{anchor}{turn}>'
        f"{escape(label.text)}</text>"
    )
