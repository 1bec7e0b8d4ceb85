"""Planes that record the light passing through them without stopping it."""

from __future__ import annotations

import math

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.batch import BATCH, CLEAR_END, CROSSING, DX, DY, DZ, END, KEPT, U, V, X, Y, Z


@device
def record_screens(screens, tally, scramble, ox, oy, oz, dx, dy, dz, weight, t_opaque, t_clear):
    """Book one stretch of a ray on every screen it crosses from the front.

    t_opaque: where the stretch ends; t_clear: where it would end were receivers and covers not there.
    """
    for k in range(screens.origin.shape[0]):
        fx, fy, fz = screens.facing[k, 0], screens.facing[k, 1], screens.facing[k, 2]
        towards = dx * fx + dy * fy + dz * fz
        if towards >= 0.0:
            continue
        cx, cy, cz = screens.origin[k, 0] - ox, screens.origin[k, 1] - oy, screens.origin[k, 2] - oz
        t = (cx * fx + cy * fy + cz * fz) / towards
        if t <= 0.0 or t > (t_clear if screens.is_clear[k] else t_opaque):
            continue
        px, py, pz = t * dx - cx, t * dy - cy, t * dz - cz
        a = px * screens.axes[k, 0] + py * screens.axes[k, 1] + pz * screens.axes[k, 2]
        b = px * screens.axes[k, 3] + py * screens.axes[k, 4] + pz * screens.axes[k, 5]
        book_crossing(screens, tally, scramble, k, a, b, weight)


@device
def record_batch(screens, tally, scramble, b, low, high):
    """Book the first stretch of rays low .. high - 1 of a batch, as record_screens does, one screen after the other.

    Columns U and V then hold the places of crossing.
    """
    for k in range(screens.origin.shape[0]):
        fx, fy, fz = screens.facing[k, 0], screens.facing[k, 1], screens.facing[k, 2]
        cx, cy, cz = screens.origin[k, 0], screens.origin[k, 1], screens.origin[k, 2]
        ax, ay, az = screens.axes[k, 0], screens.axes[k, 1], screens.axes[k, 2]
        bx, by, bz = screens.axes[k, 3], screens.axes[k, 4], screens.axes[k, 5]
        end = CLEAR_END if screens.is_clear[k] else END
        for j in range(BATCH):
            rx, ry, rz = cx - b[X + j], cy - b[Y + j], cz - b[Z + j]
            dx, dy, dz = b[DX + j], b[DY + j], b[DZ + j]
            towards = dx * fx + dy * fy + dz * fz
            t = (rx * fx + ry * fy + rz * fz) / towards
            px, py, pz = t * dx - rx, t * dy - ry, t * dz - rz
            b[U + j] = px * ax + py * ay + pz * az
            b[V + j] = px * bx + py * by + pz * bz
            is_met = (towards < 0.0) & (t > 0.0) & (t <= b[end + j])
            b[CROSSING + j] = b[KEPT + j] if is_met else 0.0
        for j in range(low, high):
            if b[CROSSING + j] > 0.0:
                book_crossing(screens, tally, scramble, k, b[U + j], b[V + j], b[CROSSING + j])


@device
def book_crossing(screens, tally, scramble, k, a, b, weight):
    """Add one crossing at (a, b) [m] to the moments, histograms and map of screen k."""
    moments = tally.moments
    moments[scramble, k, 0] += weight
    moments[scramble, k, 1] += weight * a
    moments[scramble, k, 2] += weight * b
    moments[scramble, k, 3] += weight * a * a
    moments[scramble, k, 4] += weight * b * b
    da, db = a - screens.spot_center[k, 0], b - screens.spot_center[k, 1]
    r = math.sqrt(da * da + db * db)
    n_bins = tally.radial.shape[2]
    tally.radial[scramble, k, min(int(n_bins * (r / (r + screens.spot_scale[k]))), n_bins - 1)] += weight
    r = math.sqrt(a * a + b * b)
    for j in range(screens.radii.shape[1]):
        if r <= screens.radii[k, j]:
            tally.inside[scramble, k, j] += weight
    half = screens.half_width[k]
    n_rings = tally.rings.shape[2] - 1
    tally.rings[scramble, k, min(int(min(r / half, 2.0) * n_rings), n_rings)] += weight
    n_pixels = tally.map.shape[2]
    i, j = (a + half) / (2.0 * half) * n_pixels, (b + half) / (2.0 * half) * n_pixels
    if 0.0 <= i < n_pixels and 0.0 <= j < n_pixels:
        tally.map[scramble, k, int(j), int(i)] += weight
