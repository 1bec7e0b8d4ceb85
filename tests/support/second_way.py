"""The same optics by other ways: backward quadrature of the flux at a point, and a plain forward sample.

Both are short and share nothing with the kernels: they are the outside that traced figures are held against.
"""

from __future__ import annotations

import numpy as np


def backward_flux(points, *, focal_length, radius, radiance, sun=(0.0, 0.0, 1.0), hole=0.0, offset=0.0, n=(600, 900)):
    """Flux on the plane at `offset` above the focus, by looking back over the mirror from each point.

    Parameters
    ----------
    points : (k, 2)
        Places on the plane. [m]
    radiance : callable
        Radiance over the angle from the sun's centre, per unit of irradiance of the sun. [1/sr]
    sun : (3,)
        Unit vector towards the sun's centre. [–]
    n : pair of int
        Steps over r and azimuth of the plan of the mirror.

    Returns
    -------
    (k,)
        Flux over DNI. [–]
    """
    steps = hole**2 + (radius**2 - hole**2) * (np.arange(n[0]) + 0.5) / n[0]
    azimuth = 2.0 * np.pi * (np.arange(n[1]) + 0.5) / n[1]
    r, phi = (grid.ravel() for grid in np.meshgrid(np.sqrt(steps), azimuth))
    mirror = np.stack([r * np.cos(phi), r * np.sin(phi), r * r / (4.0 * focal_length)], axis=1)
    plan_area = np.pi * (radius**2 - hole**2) / len(r)
    normal = np.stack([-mirror[:, 0], -mirror[:, 1], np.full(len(r), 2.0 * focal_length)], axis=1) / (
        2.0 * focal_length
    )
    length = np.linalg.norm(normal, axis=1)
    unit = normal / length[:, np.newaxis]
    flux = []
    for point in points:
        look = np.array([*point, focal_length + offset]) - mirror
        distance = np.linalg.norm(look, axis=1)
        look /= distance[:, np.newaxis]
        cosine = np.einsum("ij,ij->i", look, unit)
        towards_sun = 2.0 * cosine[:, np.newaxis] * unit - look
        angle = np.arctan2(np.linalg.norm(np.cross(towards_sun, sun), axis=1), towards_sun @ np.asarray(sun))
        solid_angle = plan_area * length * cosine / distance**2
        flux.append(np.sum(radiance(angle) * look[:, 2] * solid_angle))
    return np.array(flux)


def pillbox_radiance(half_angle):
    """Radiance of a uniform disc per unit of irradiance. [1/sr]"""
    return lambda angle: (angle <= half_angle) / (np.pi * np.sin(half_angle) ** 2)


def gaussian_radiance(sigma):
    """Radiance of a Gaussian sun per unit of irradiance, `sigma` per axis, small angles. [1/sr]"""
    return lambda angle: np.exp(-0.5 * (angle / sigma) ** 2) / (2.0 * np.pi * sigma**2)


def forward_rays(
    n_rays, *, focal_length, radius, half_angle, center=(0.0, 0.0), sun=(0.0, 0.0, 1.0), slope=0.0, seed=0
):
    """Rays leaving the mirror under a pillbox sun: origins, unit directions (n, 3) and power over DNI (n,).

    Plain random numbers of NumPy, plan points even over the outline, sun directions even over the disc's solid angle
    times cosine, slope errors in the tangent plane.
    """
    random = np.random.default_rng(seed)
    r, phi = radius * np.sqrt(random.random(n_rays)), 2.0 * np.pi * random.random(n_rays)
    x, y = center[0] + r * np.cos(phi), center[1] + r * np.sin(phi)
    origins = np.stack([x, y, (x * x + y * y) / (4.0 * focal_length)], axis=1)
    sine, turn = np.sin(half_angle) * np.sqrt(random.random(n_rays)), 2.0 * np.pi * random.random(n_rays)
    cosine = np.sqrt(1.0 - sine**2)
    frame = frame_about(np.asarray(sun, dtype=float))
    to_sun = np.stack([sine * np.cos(turn), sine * np.sin(turn), cosine], axis=1) @ frame
    normal = np.stack([-x, -y, np.full(n_rays, 2.0 * focal_length)], axis=1)
    power = np.pi * radius**2 / n_rays * np.einsum("ij,ij->i", to_sun, normal) / (2.0 * focal_length * cosine)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    tilted = normal
    if slope > 0.0:
        across = np.cross(normal, [0.0, 1.0, 0.0])
        across /= np.linalg.norm(across, axis=1, keepdims=True)
        along = np.cross(normal, across)
        tilted = normal + slope * (
            random.standard_normal((n_rays, 1)) * across + random.standard_normal((n_rays, 1)) * along
        )
        tilted /= np.linalg.norm(tilted, axis=1, keepdims=True)
    directions = 2.0 * np.einsum("ij,ij->i", to_sun, tilted)[:, np.newaxis] * tilted - to_sun
    return origins, directions, power


def frame_about(axis):
    """Rows: two unit vectors square to the unit vector `axis`, and the axis."""
    helper = np.array([1.0, 0.0, 0.0]) if abs(axis[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    first = np.cross(helper, axis)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(axis, first), axis])


def on_plane(origins, directions, height):
    """Where rays cross the plane z = height: x, y (n, 2). [m]"""
    t = (height - origins[:, 2]) / directions[:, 2]
    return origins[:, :2] + t[:, np.newaxis] * directions[:, :2]


def radius_of_share(places, power, share):
    """Radius about the centroid that holds a share of the power. [m]"""
    radius = np.hypot(*(places - power @ places / power.sum()).T)
    order = np.argsort(radius)
    enclosed = np.cumsum(power[order]) / power.sum()
    return float(radius[order][np.searchsorted(enclosed, share)])
