"""Planes that record the light passing through them without stopping it."""

from __future__ import annotations

import math

from dishtrace.trace.compiling import device
from dishtrace.trace.kernels.batch import BATCH
from dishtrace.trace.kernels.going import (
    CLEAR_END,
    CROSS_A,
    CROSS_B,
    CROSSING,
    END,
    POWER_NOW,
    PX,
    PY,
    PZ,
    RADIUS,
    RING_CELL,
    SPOT_CELL,
    TOUCHED,
    VX,
    VY,
    VZ,
)
from dishtrace.trace.kernels.triangles import lesser


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
def record_later(screens, tally, scramble, g, m, n):
    """Book later stretches of light that has touched no part yet: lanes 0 .. n - 1 of light under way."""
    for i in range(n):
        if not m[TOUCHED + i]:
            record_screens(
                screens,
                tally,
                scramble,
                g[PX + i],
                g[PY + i],
                g[PZ + i],
                g[VX + i],
                g[VY + i],
                g[VZ + i],
                g[POWER_NOW + i],
                g[END + i],
                g[CLEAR_END + i],
            )


@device
def record_batch(screens, tally, scramble, g):
    """Book the first stretch of a batch, as record_screens does, one screen after the other.

    The places of crossing, then the cells of the histograms, are found for all lanes at once; light that crosses
    nothing has no power there, and its cell is any.
    """
    for k in range(screens.origin.shape[0]):
        crossings(screens, k, g)
        book_crossings(screens, tally, scramble, k, g)


@device
def crossings(screens, k, g):
    """Where the first stretch of each lane crosses screen k, and with how much power."""
    fx, fy, fz = screens.facing[k, 0], screens.facing[k, 1], screens.facing[k, 2]
    cx, cy, cz = screens.origin[k, 0], screens.origin[k, 1], screens.origin[k, 2]
    ax, ay, az = screens.axes[k, 0], screens.axes[k, 1], screens.axes[k, 2]
    bx, by, bz = screens.axes[k, 3], screens.axes[k, 4], screens.axes[k, 5]
    end = CLEAR_END if screens.is_clear[k] else END
    for j in range(BATCH):
        rx, ry, rz = cx - g[PX + j], cy - g[PY + j], cz - g[PZ + j]
        dx, dy, dz = g[VX + j], g[VY + j], g[VZ + j]
        towards = dx * fx + dy * fy + dz * fz
        t = (rx * fx + ry * fy + rz * fz) / towards
        px, py, pz = t * dx - rx, t * dy - ry, t * dz - rz
        is_met = (towards < 0.0) & (t > 0.0) & (t <= g[end + j])
        g[CROSS_A + j] = px * ax + py * ay + pz * az if is_met else 0.0
        g[CROSS_B + j] = px * bx + py * by + pz * bz if is_met else 0.0
        g[CROSSING + j] = g[POWER_NOW + j] if is_met else 0.0


@device
def book_crossings(screens, tally, scramble, k, g):
    """Add the crossings of a batch to the moments, histograms and map of screen k."""
    n_bins, n_rings, n_pixels = tally.radial.shape[2], tally.rings.shape[2] - 1, tally.map.shape[2]
    radial, rings, pixels = tally.radial[scramble, k], tally.rings[scramble, k], tally.map[scramble, k]
    center_a, center_b, spot_scale = screens.spot_center[k, 0], screens.spot_center[k, 1], screens.spot_scale[k]
    half = screens.half_width[k]
    m0 = ma = mb = maa = mbb = 0.0
    for j in range(BATCH):
        a, b, weight = g[CROSS_A + j], g[CROSS_B + j], g[CROSSING + j]
        m0 += weight
        ma += weight * a
        mb += weight * b
        maa += weight * a * a
        mbb += weight * b * b
    moments = tally.moments[scramble, k]
    moments[0] += m0
    moments[1] += ma
    moments[2] += mb
    moments[3] += maa
    moments[4] += mbb
    for j in range(BATCH):
        da, db = g[CROSS_A + j] - center_a, g[CROSS_B + j] - center_b
        r = math.sqrt(da * da + db * db)
        g[SPOT_CELL + j] = lesser(n_bins * (r / (r + spot_scale)), n_bins - 1.0)
        r = math.sqrt(g[CROSS_A + j] * g[CROSS_A + j] + g[CROSS_B + j] * g[CROSS_B + j])
        g[RADIUS + j] = r
        g[RING_CELL + j] = lesser(lesser(r / half, 2.0) * n_rings, n_rings * 1.0)
    for j in range(BATCH):
        radial[int(g[SPOT_CELL + j])] += g[CROSSING + j]
        rings[int(g[RING_CELL + j])] += g[CROSSING + j]
    to_pixel = n_pixels / (2.0 * half)
    for j in range(BATCH):
        column, line = (g[CROSS_A + j] + half) * to_pixel, (g[CROSS_B + j] + half) * to_pixel
        if 0.0 <= column < n_pixels and 0.0 <= line < n_pixels:
            pixels[int(line), int(column)] += g[CROSSING + j]
    for i in range(screens.radii.shape[1]):
        inside, limit = 0.0, screens.radii[k, i]
        for j in range(BATCH):
            inside += g[CROSSING + j] if g[RADIUS + j] <= limit else 0.0
        tally.inside[scramble, k, i] += inside


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
