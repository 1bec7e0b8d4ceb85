"""Making documents against closed forms and derived values of paraboloid geometry.

Sources: arc length and surface of a paraboloid of revolution, classical closed forms (for instance G. B. Thomas,
*Calculus*, arc length and surfaces of revolution; from memory), recomputed by quadrature for the project; the plane cut
of a paraboloid (a circle in plan, an ellipse in its own plane) is derived: put z = z0 + m x into z = (x^2 + y^2) / 4 f.
"""

from __future__ import annotations

import ezdxf
import numpy as np
import pytest

from dishtrace.dish.facets import Facets
from dishtrace.dish.outline import rectangle
from dishtrace.report.build import build
from dishtrace.report.making.cut_sheets import sheets_sketch
from dishtrace.report.making.cutting import kinds_of
from dishtrace.report.making.drawing_dxf import write_dxf
from dishtrace.report.making.files import write_documents
from dishtrace.report.making.gather import Wishes, gather
from dishtrace.report.making.nesting import nest
from dishtrace.report.making.ribs import Section
from tests.support.making_scenes import mirror_scene

ARC_M = 1.592608
"""Meridian arc, rim to rim, f = 0.6 m, D = 1.5 m: 2 f (u sqrt(1 + u^2) + asinh u), u = D / 4 f."""
SURFACE_M2 = 0.832611
"""Surface, f = 0.5 m, D = 1.0 m: (8 pi f^2 / 3) ((1 + (D / 4 f)^2)^1.5 - 1)."""


def test_a_diametral_strip_is_as_long_as_the_meridian(tmp_path):
    """The strip is bent to the paraboloid's meridian; its cut line is read back from the DXF file."""
    strip = Facets(
        number=np.array([1]),
        origin=np.zeros((1, 3)),
        axes=np.eye(3)[np.newaxis],
        quadric=np.array([[1.0 / 2.4, 0.0, 0.0, 0.0, 0.0, 0.0]]),
        outlines=(rectangle((1.5, 0.1)),),
        slope=np.zeros(1),
        brightness=np.ones(1),
    )
    kinds, _ = kinds_of(strip)
    write_dxf(sheets_sketch(kinds, nest(kinds, (2.5, 1.25)), ("strip",)), tmp_path / "strip.dxf")
    [line] = ezdxf.readfile(tmp_path / "strip.dxf").modelspace().query('LWPOLYLINE[layer=="CUT"]')
    sides = np.sort(np.ptp(np.array(list(line.get_points("xy"))), axis=0))
    assert sides == pytest.approx([100.0, 1e3 * ARC_M], abs=1e-3)


def test_a_diametral_rib_is_as_long_as_the_meridian(tmp_path):
    scene = mirror_scene("", outline='shape = "circle"\nradius_m = 0.75', focal_length=0.6)
    making = gather(scene, Wishes(sections=(Section(33.0),)))
    write_documents(making, tmp_path, paper="a4", version="0")
    [line] = ezdxf.readfile(tmp_path / "ribs.dxf").modelspace().query('LWPOLYLINE[layer=="RIB"]')
    chain = np.array(list(line.get_points("xy")))
    assert np.hypot(*np.diff(chain, axis=0).T).sum() == pytest.approx(1e3 * ARC_M, abs=1e-3)
    assert np.ptp(chain[:, 1]) == pytest.approx(234.375, abs=1e-9)  # depth D^2 / 16 f


def test_the_mirror_area_is_the_closed_form():
    facts = build(mirror_scene("", outline='shape = "circle"\nradius_m = 0.5', focal_length=0.5))
    assert facts["dish"]["mirror_m2"] == pytest.approx(SURFACE_M2, abs=1e-6)
    assert facts["dish"]["aperture_m2"] == pytest.approx(0.785398, abs=1e-6)


def test_the_frame_of_a_lateral_section():
    """f = 1, centre 1.6 m beside the axis, radius 0.7 m: tilt 38.6598 deg, depth under the rim 0.095656 m square to it.

    The rim is an ellipse of semi-axes 0.896437 and 0.7 m in its plane; the mirror measures 2.000942 m2.
    """
    outline = 'shape = "circle"\nradius_m = 0.7\ncenter_m = [1.6, 0.0]'
    making = gather(mirror_scene("", outline=outline, focal_length=1.0), Wishes())
    facts = build(mirror_scene("", outline=outline, focal_length=1.0))
    assert facts["frame"]["tilt_deg"] == pytest.approx(38.6598, abs=1e-4)
    assert facts["dish"]["mirror_m2"] == pytest.approx(2.000942, abs=1e-6)
    along, across = making.ribs
    assert [chain[[0, -1], 1] for chain in along.stretches] == [pytest.approx([0.095656, 0.095656], abs=1e-6)]
    assert np.ptp(along.stretches[0][:, 0]) == pytest.approx(2.0 * 0.896437, abs=2e-6)
    middle = np.array([0.5 * (along.stretches[0][0, 0] + along.stretches[0][-1, 0]), 0.0])
    chord = 2.0 * 0.7 * np.sqrt(1.0 - (middle[0] / 0.896437) ** 2)
    assert np.ptp(across.stretches[0][:, 0]) == pytest.approx(chord, abs=2e-6)
