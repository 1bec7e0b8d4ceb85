"""The standard case without dishtrace: NumPy for the sun and the mirror, embreex for the two ray queries.

This is what somebody who knows both libraries writes in an afternoon and then makes fast: single precision,
batches that stay in the processor's cache, work arrays made once, as few passes over them as the arithmetic
allows. It is the yardstick that dishtrace is timed against (throughput.py), on one core.

Run it alone with ``python benchmarks/embree_script.py [rays]``.
"""

from __future__ import annotations

import sys
import time

import numpy as np

FOCAL_LENGTH_M = 0.9
APERTURE_RADIUS_M = 1.2
SUN_HALF_ANGLE_RAD = 4.65e-3
SLOPE_ERROR_RAD = 3.0e-3  # standard deviation per tangent axis
REFLECTANCE = 0.9
DNI_W_M2 = 1000.0
CYLINDER_RADIUS_M = 0.12
CYLINDER_HEIGHT_M = 0.30
N_AROUND = 128
N_ALONG = 31  # 2 * 128 * 31 on the wall and 2 * 128 on the two ends: 8192 triangles
BATCH = 1 << 13


def cylinder() -> tuple[np.ndarray, np.ndarray]:
    """Closed cylinder about the z axis, centred at the origin, outward normals.

    Returns
    -------
    vertices : (n, 3) float64
        Corners. [m]
    faces : (8192, 3) int64
        Corner numbers, counter-clockwise seen from outside. [–]
    """
    turn = 2.0 * np.pi * np.arange(N_AROUND) / N_AROUND
    ring = CYLINDER_RADIUS_M * np.column_stack([np.cos(turn), np.sin(turn)])
    heights = np.linspace(-0.5, 0.5, N_ALONG + 1) * CYLINDER_HEIGHT_M
    wall = np.concatenate([np.column_stack([ring, np.full(N_AROUND, z)]) for z in heights])
    bottom, top = len(wall), len(wall) + 1
    vertices = np.concatenate([wall, [[0.0, 0.0, heights[0]], [0.0, 0.0, heights[-1]]]])
    here = np.arange(N_AROUND)
    following = np.roll(here, -1)
    faces = []
    for level in range(N_ALONG):
        low, high = level * N_AROUND, (level + 1) * N_AROUND
        faces.append(np.column_stack([low + here, low + following, high + following]))
        faces.append(np.column_stack([low + here, high + following, high + here]))
    faces.append(np.column_stack([np.full(N_AROUND, bottom), following, here]))
    last = N_ALONG * N_AROUND
    faces.append(np.column_stack([np.full(N_AROUND, top), last + here, last + following]))
    return vertices, np.concatenate(faces)


def embree_scene() -> object:
    """Cylinder at the focus, in the frame whose origin is the mirror's vertex."""
    from embreex import rtcore_scene
    from embreex.mesh_construction import TriangleMesh

    vertices, faces = cylinder()
    vertices = vertices + [0.0, 0.0, FOCAL_LENGTH_M]
    scene = rtcore_scene.EmbreeScene()
    TriangleMesh(scene, vertices[faces].astype(np.float32))
    return scene


class Batch:
    """Work arrays of one batch, made once, and the arithmetic on them.

    Parameters
    ----------
    n : int
        Rays in a batch.
    """

    def __init__(self, n: int) -> None:
        self.uniform = np.zeros((4, n), np.float32)
        self.normal = np.zeros((2, n), np.float32)
        self.origin = np.zeros((n, 3), np.float32)
        self.to_sun = np.zeros((n, 3), np.float32)
        self.away = np.zeros((n, 3), np.float32)
        self.weight = np.zeros(n, np.float32)

    def draw(self, generator: np.random.Generator) -> None:
        """Fill origins, directions to the sun, directions after the mirror and the power of each ray.

        Weight is (direction . normal) / normal_z / cos(theta): the power per plan area over the irradiance.
        """
        generator.random(out=self.uniform, dtype=np.float32)
        generator.standard_normal(out=self.normal, dtype=np.float32)
        turn = np.float32(2.0 * np.pi)
        radius = np.sqrt(self.uniform[0])
        radius *= np.float32(APERTURE_RADIUS_M)
        angle = self.uniform[1] * turn
        cosine = np.cos(angle)
        sine_around = np.sin(angle)
        x = radius * cosine
        y = radius * sine_around
        sine = np.sqrt(self.uniform[2])
        sine *= np.float32(np.sin(SUN_HALF_ANGLE_RAD))
        angle = self.uniform[3] * turn
        sun_x = sine * np.cos(angle)
        sun_y = sine * np.sin(angle)
        sine *= sine
        sun_z = np.sqrt(np.float32(1.0) - sine)
        # normal (-p, -q, 1), p = x / 2f, q = y / 2f, not yet of length one
        half = np.float32(0.5 / FOCAL_LENGTH_M)
        p = x * half
        q = y * half
        np.copyto(self.weight, np.float32(1.0) - (p * sun_x + q * sun_y) / sun_z)
        self._place(x, y, radius)
        self._reflect((p, q), (cosine, sine_around), radius, (sun_x, sun_y, sun_z))

    def _place(self, x: np.ndarray, y: np.ndarray, radius: np.ndarray) -> None:
        self.origin[:, 0] = x
        self.origin[:, 1] = y
        self.origin[:, 2] = radius * radius * np.float32(0.25 / FOCAL_LENGTH_M)

    def _reflect(
        self,
        tilt: tuple[np.ndarray, np.ndarray],
        around: tuple[np.ndarray, np.ndarray],
        radius: np.ndarray,
        sun: tuple[np.ndarray, np.ndarray, np.ndarray],
    ) -> None:
        p, q = tilt
        cosine, sine = around
        sun_x, sun_y, sun_z = sun
        # Tangent axes of length one: t1 = (cos a, sin a, s) / w along the meridian, t2 = (-sin a, cos a, 0)
        # around, with s = radius / 2f and w = sqrt(1 + s^2). Slope errors e1, e2 turn the normal
        # n = (-p, -q, 1) / w into n + e1 t1 + e2 t2, which times w is
        # (-p, -q, 1) + e1 (cos a, sin a, s) + w e2 (-sin a, cos a, 0).
        slope = radius * np.float32(0.5 / FOCAL_LENGTH_M)
        width = np.sqrt(slope * slope + np.float32(1.0))
        e1 = self.normal[0]
        e1 *= np.float32(SLOPE_ERROR_RAD)
        e2 = self.normal[1]
        e2 *= np.float32(SLOPE_ERROR_RAD)
        e2 *= width
        n_x = e1 * cosine - e2 * sine - p
        n_y = e1 * sine + e2 * cosine - q
        n_z = e1 * slope + np.float32(1.0)
        twice = (n_x * sun_x + n_y * sun_y + n_z * sun_z) * np.float32(2.0)
        twice /= n_x * n_x + n_y * n_y + n_z * n_z
        self.to_sun[:, 0], self.to_sun[:, 1], self.to_sun[:, 2] = sun_x, sun_y, sun_z
        np.subtract(twice * n_x, sun_x, out=self.away[:, 0])
        np.subtract(twice * n_y, sun_y, out=self.away[:, 1])
        np.subtract(twice * n_z, sun_z, out=self.away[:, 2])


def run(n_rays: int, seed: int, *, batch: int = BATCH) -> dict[str, object]:
    """Trace the standard case.

    Parameters
    ----------
    n_rays : int
        Sun rays that meet the mirror; rounded up to whole batches. [–]
    seed : int
        Of NumPy's generator. [–]
    batch : int
        Rays handled at once. [–]

    Returns
    -------
    dict
        ``share``: power that reaches the cylinder by way of the mirror over the power on the mirror's plan,
        the mirror's own loss taken off, with ``share_se``; ``per_triangle`` (8192,): that power by triangle
        [W]; ``rays``; ``seconds`` of tracing; ``rays_per_s``.
    """
    scene = embree_scene()
    generator = np.random.Generator(np.random.SFC64(seed))
    n_triangles = 2 * N_AROUND * (N_ALONG + 1)
    n_batches = -(-n_rays // batch)
    work = Batch(batch)
    tally = np.zeros(n_triangles + 1)
    shares = np.zeros(n_batches)
    start = time.perf_counter()
    for i in range(n_batches):
        work.draw(generator)
        is_lit = scene.run(work.origin, work.to_sun, query="OCCLUDED") < 0
        hit = scene.run(work.origin, work.away, query="INTERSECT")
        # triangle -1 (missed) is counted in the last bin
        hits = np.bincount(hit + (hit < 0) * (n_triangles + 1), work.weight * is_lit, minlength=n_triangles + 1)
        tally += hits
        shares[i] = hits[:-1].sum()
    seconds = time.perf_counter() - start
    rays = n_batches * batch
    power = REFLECTANCE * DNI_W_M2 * np.pi * APERTURE_RADIUS_M**2 / rays
    shares *= REFLECTANCE / batch
    error = float(np.std(shares, ddof=1) / np.sqrt(n_batches)) if n_batches > 1 else float("nan")
    return {
        "share": float(shares.mean()),
        "share_se": error,
        "per_triangle": tally[:-1] * power,
        "rays": rays,
        "seconds": seconds,
        "rays_per_s": rays / seconds,
    }


def main() -> None:
    """Trace once and print what came out."""
    n_rays = int(sys.argv[1]) if len(sys.argv) > 1 else 4_000_000
    result = run(n_rays, seed=1)
    print(f"receiver share  {result['share']:.5f} +- {result['share_se']:.5f}")
    print(f"rays            {result['rays']}")
    print(f"rays per second {result['rays_per_s']:.4g}")


if __name__ == "__main__":
    main()
