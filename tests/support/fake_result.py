"""A result put together by hand, so that the report can be tested without tracing a ray.

The scene is invented: a dish of 1.2 m radius and 0.9 m focal length, a pot (closed cylinder), a flat ring of a
clamp, a stand beam (box) and a spherical lump that stands for a mesh file; the fluxes are smooth bells.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np

from dishtrace.dish.facets import skin
from dishtrace.dish.layouts import Fits
from dishtrace.dish.outline import circle
from dishtrace.stats import Estimate

FOCAL_LENGTH = 0.9
FOCUS = np.array([0.0, 0.0, FOCAL_LENGTH])


def grid_triangles(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Two triangles per cell of a (u, v) grid, (n, 3, 2)."""
    lower, upper = [], []
    for i in range(len(u) - 1):
        for j in range(len(v) - 1):
            a, b = (u[i], v[j]), (u[i + 1], v[j])
            c, d = (u[i + 1], v[j + 1]), (u[i], v[j + 1])
            lower.append((a, b, c))
            upper.append((a, c, d))
    return np.array(lower + upper)


def make_mesh(name: str, role: str, pieces: list, *, is_closed: bool, frame: str = "dish") -> SimpleNamespace:
    """Put pieces (chart name, labels, uv (m, 3, 2), map uv -> point) together into one part."""
    triangles, charts, start = [], [], 0
    for chart_name, labels, uv, place in pieces:
        triangles.append(place(uv))
        index = np.arange(start, start + len(uv))
        charts.append(SimpleNamespace(name=chart_name, index=index, uv=uv, labels=labels))
        start += len(uv)
    triangles = np.concatenate(triangles)
    cross = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    areas = 0.5 * np.linalg.norm(cross, axis=1)
    return SimpleNamespace(
        name=name,
        role=role,
        frame=frame,
        triangles=triangles,
        normals=cross / (2.0 * areas[:, None]),
        areas=areas,
        is_closed=is_closed,
        n_dropped=0,
        charts=tuple(charts),
        frame_rotation=np.eye(3),
        frame_origin=FOCUS.copy(),
        notes=(),
    )


def pot_mesh(n_around: int = 48, n_up: int = 10) -> SimpleNamespace:
    """Closed cylinder of radius 0.12 m and height 0.2 m about the focus."""
    radius, half = 0.12, 0.1
    wall = grid_triangles(
        np.linspace(-np.pi * radius, np.pi * radius, n_around + 1), np.linspace(-half, half, n_up + 1)
    )
    disc = grid_triangles(np.linspace(0.001, radius, 8), np.linspace(0.0, 2.0 * np.pi, n_around + 1))
    flat = np.stack([disc[..., 0] * np.cos(disc[..., 1]), disc[..., 0] * np.sin(disc[..., 1])], axis=-1)

    def on_wall(uv):
        angle = uv[..., 0] / radius
        return FOCUS + np.stack([radius * np.cos(angle), radius * np.sin(angle), uv[..., 1]], axis=-1)

    def on_lid(z, turn):
        def place(uv):
            return FOCUS + np.stack([uv[..., 0], turn * uv[..., 1], np.full(uv.shape[:-1], z)], axis=-1)

        return place

    return make_mesh(
        "pot",
        "receiver",
        [
            ("wall, unrolled", ("along the wall [m]", "height [m]"), wall, on_wall),
            ("top", ("x [m]", "y [m]"), flat, on_lid(half, 1.0)),
            ("bottom", ("x [m]", "y [m]"), flat, on_lid(-half, -1.0)),
        ],
        is_closed=True,
    )


def plate_mesh() -> SimpleNamespace:
    """Open sheet of 0.3 m by 0.2 m below the focus; its front looks at the mirror."""
    uv = grid_triangles(np.linspace(-0.15, 0.15, 25), np.linspace(-0.1, 0.1, 17))

    def place(points):
        return FOCUS + np.stack([-points[..., 0], points[..., 1], np.full(points.shape[:-1], 0.13)], axis=-1)

    return make_mesh("Clamp, upper", "stand", [("front", ("x [m]", "y [m]"), uv, place)], is_closed=False)


def lump_mesh() -> SimpleNamespace:
    """A sphere without charts, as a mesh file has none; stands beside the dish."""
    angles = grid_triangles(np.linspace(0.02, np.pi - 0.02, 17), np.linspace(0.0, 2.0 * np.pi, 33))
    theta, phi = angles[..., 0], angles[..., 1]
    ball = np.stack([np.sin(theta) * np.cos(phi), np.sin(theta) * np.sin(phi), np.cos(theta)], axis=-1)

    def place(_):
        return ball * [0.1, 0.1, 0.25] + [0.25, 0.3, 0.95]

    mesh = make_mesh("clamp upper", "stand", [("", ("", ""), angles, place)], is_closed=True)
    mesh.charts = ()
    return mesh


def dark_mesh() -> SimpleNamespace:
    """A foot that no mirror light meets."""
    uv = grid_triangles(np.linspace(-0.1, 0.1, 3), np.linspace(-0.1, 0.1, 3))

    def place(points):
        return np.stack([points[..., 0] + 1.5, points[..., 1], np.full(points.shape[:-1], -0.2)], axis=-1)

    return make_mesh("foot", "stand", [("front", ("x [m]", "y [m]"), uv, place)], is_closed=False)


def make_side(mesh: SimpleNamespace, peak: float, noise: float, seed: int) -> SimpleNamespace:
    """Flux that falls off from the triangle nearest to the vertex, with relative noise per triangle."""
    generator = np.random.default_rng(seed)
    centres = mesh.triangles.mean(axis=1)
    facing = np.clip(-(mesh.normals * (centres / np.linalg.norm(centres, axis=1)[:, None])).sum(axis=1), 0.0, 1.0)
    nearest = centres[np.argmin(np.linalg.norm(centres, axis=1))]
    flux = peak * facing * np.exp(-((centres - nearest) ** 2).sum(axis=1) / (2 * 0.09**2))
    flux = flux * (1.0 + noise * generator.standard_normal(len(flux)))
    flux = np.where(flux < 0.002 * max(peak, 1e-30), 0.0, flux)
    errors = np.where(flux > 0.0, noise * flux, np.nan)
    power = float((flux * mesh.areas).sum())
    return SimpleNamespace(
        first_w=Estimate(power, noise * power / 20 if power else None),
        incident_w=Estimate(power, noise * power / 20 if power else None),
        absorbed_w=Estimate(0.9 * power, noise * power / 22 if power else None),
        direct_incident_w=Estimate(21.0, 0.1),
        direct_absorbed_w=Estimate(19.0, 0.1),
        flux_w_m2=flux,
        flux_se_w_m2=errors,
        absorbed_w_m2=0.9 * flux + 40.0,
        absorbed_se_w_m2=0.9 * errors,
    )


def make_part(mesh: SimpleNamespace, front_peak: float, back_peak: float, noise: float = 0.03) -> SimpleNamespace:
    """A part's result from its sides."""
    sides = {"front": make_side(mesh, front_peak, noise, 1), "back": make_side(mesh, back_peak, noise, 2)}

    def both(name):
        values = [getattr(side, name) for side in sides.values()]
        errors = [v.se for v in values if v.se is not None]
        return Estimate(sum(v.value for v in values), float(np.hypot.reduce(errors)) if errors else None)

    side = max(sides, key=lambda key: sides[key].flux_w_m2.max())
    flux = sides[side].flux_w_m2
    hottest = int(flux.argmax())
    area = float(mesh.areas.sum())
    first = both("first_w")
    return SimpleNamespace(
        name=mesh.name,
        role=mesh.role,
        area_m2=area,
        first_w=first,
        incident_w=both("incident_w"),
        absorbed_w=both("absorbed_w"),
        direct_incident_w=both("direct_incident_w"),
        direct_absorbed_w=both("direct_absorbed_w"),
        mean_w_m2=both("incident_w").scaled(1.0 / area),
        peak_w_m2=Estimate(float(flux[hottest]), 0.01 * float(flux[hottest]) if flux[hottest] else None),
        peak_patch_m2=1e-4,
        peak_at_m=tuple(mesh.triangles[hottest].mean(axis=0) - FOCUS),
        peak_side=side,
        peak_triangle=hottest,
        sides=sides,
        mesh=mesh,
    )


def make_screen(name: str, offset, sigma: float = 0.03, power: float = 3100.0) -> SimpleNamespace:
    """A Gaussian spot, slightly off the axis."""
    half, n = 0.15, 60
    x = (np.arange(n) + 0.5) / n * 2 * half - half
    peak = power / (2 * np.pi * sigma**2)
    clean = peak * np.exp(-((x[None, :] - 0.004) ** 2 + (x[:, None] + 0.002) ** 2) / (2 * sigma**2))
    generator = np.random.default_rng(3)
    counts = generator.poisson(clean / peak * 900.0)
    flux = counts / 900.0 * peak
    errors = np.where(counts > 0, flux / np.sqrt(np.maximum(counts, 1)), np.nan)
    edges = np.linspace(0.0, half, 31)
    middle = 0.5 * (edges[1:] + edges[:-1])
    profile = peak * np.exp(-(middle**2) / (2 * sigma**2))
    encircled = power * (1.0 - np.exp(-(edges[1:] ** 2) / (2 * sigma**2)))
    radii = {"50": 1.17741, "90": 2.14597, "95": 2.44775, "99": 3.03485}
    return SimpleNamespace(
        name=name,
        offset_m=offset,
        power_w=Estimate(power, 1.3),
        centroid_m=(Estimate(0.004, 3e-5), Estimate(-0.002, 3e-5)),
        rms_m=Estimate(1.4142 * sigma, 4e-5),
        rms_xy_m=(Estimate(sigma, 3e-5), Estimate(sigma, 3e-5)),
        radius_m={key: Estimate(value * sigma, 5e-5 * value) for key, value in radii.items()},
        peak_w_m2=Estimate(peak, 0.004 * peak),
        peak_patch_m2=1e-4,
        peak_at_m=(0.004, -0.002),
        inside=((0.05, Estimate(2300.0, 1.1)), (0.1, Estimate(3090.0, 1.2))),
        half_width_m=half,
        map_w_m2=flux,
        map_se_w_m2=errors,
        profile_edges_m=edges,
        profile_w_m2=profile,
        profile_se_w_m2=0.01 * profile + 0.002 * peak,
        encircled_radius_m=edges[1:],
        encircled_w=encircled,
        encircled_se_w=np.full(30, 1.3),
    )


def sample_rays(count: int = 36) -> list[np.ndarray]:
    """Rays that come down parallel to the axis, reflect to about the focus and end there or pass."""
    rays = []
    for k in range(count):
        x, y = (
            1.15 * np.sin(2.4 * k) * np.sqrt((k + 1) / count),
            1.15 * np.cos(2.4 * k) * np.sqrt((k + 1) / count),
        )
        point = np.array([x, y, (x * x + y * y) / (4 * FOCAL_LENGTH)])
        away = FOCUS + 0.01 * np.array([np.sin(k), np.cos(k), 0.0]) - point
        reach = 1.0 if k % 6 else 1.8
        rays.append(np.array([point + [0.0, 0.0, 1.5], point, point + reach * away]))
    return rays


def make_scene() -> SimpleNamespace:
    """What the report reads of a scene."""
    outline = SimpleNamespace(
        shape="circle", radius_m=1.2, hole_radius_m=0.15, center_m=(0.0, 0.0), size_m=None, vertices_m=None
    )
    return SimpleNamespace(
        title="Invented pot dish",
        title_line="Invented pot dish",
        dish=SimpleNamespace(focal_length_m=FOCAL_LENGTH, outline=outline, facets=None),
        parts=(),
        screens=(),
        mount=SimpleNamespace(kind="two-axis"),
    )


def make_pose(elevation_deg: float = 52.0) -> SimpleNamespace:
    """Dish that looks south at the given elevation; the ground frame starts at the vertex."""
    elevation = np.radians(elevation_deg)
    z = np.array([0.0, -np.cos(elevation), np.sin(elevation)])
    x = np.array([1.0, 0.0, 0.0])
    return SimpleNamespace(
        rotation=np.stack([x, np.cross(z, x), z]), sun=np.array([0.0, 0.0, 1.0]), ground_origin=np.zeros(3)
    )


def make_budget(parts: dict) -> dict[str, Estimate]:
    """A ledger that closes."""
    receiver = sum(p.absorbed_w.value for p in parts.values() if p.role == "receiver")
    stand = sum(p.absorbed_w.value for p in parts.values() if p.role == "stand")
    budget = {
        "outline": Estimate(4012.3, 0.0),
        "gaps": Estimate(62.7, 0.0),
        "shaded": Estimate(41.12, 0.31),
        "mirror_absorbed": Estimate(467.9, 0.21),
        "blocked": Estimate(0.0, 0.0),
        "receiver": Estimate(receiver, 1.4),
        "stand": Estimate(stand, 0.44),
        "other_parts": Estimate(0.0, 0.0),
        "escaped": Estimate(211.4, 0.6),
        "missed": Estimate(0.0, 1.1),
        "lost": Estimate(0.0, 0.0),
    }
    booked = sum(e.value for key, e in budget.items() if key != "outline")
    budget["missed"] = Estimate(budget["outline"].value - booked, 1.1)
    return budget


def make_result(*, stopped: bool = False) -> SimpleNamespace:
    """A whole result with five parts; two names meet after cleaning, one part is dark."""
    parts = {}
    for mesh, front, back, noise in (
        (pot_mesh(), 60e3, 0.0, 0.03),
        (plate_mesh(), 9e3, 2e3, 0.05),
        (lump_mesh(), 8e4, 0.0, 0.15),
        (dark_mesh(), 0.0, 0.0, 0.03),
    ):
        parts[mesh.name] = make_part(mesh, front, back, noise)
    budget = make_budget(parts)
    pose, outline = make_pose(), circle(1.2, hole_radius=0.15)
    result = SimpleNamespace(
        scene=make_scene(),
        version="0.1.0",
        rays=524288,
        rays_wanted=524288,
        seed=1,
        backend="cpu",
        threads=2,
        stopped=stopped,
        seconds=1.234,
        compile_seconds=None,
        sun=SimpleNamespace(
            direction=np.array([0.0, -0.6157, 0.788]),
            azimuth_deg=180.0,
            elevation_deg=52.0,
            dni_w_m2=900.0,
            shape=SimpleNamespace(profile="pillbox", csr=None),
            has_direction=True,
            notes=(),
        ),
        pose=pose,
        mirror=SimpleNamespace(pose=pose, focal_length=FOCAL_LENGTH, outline=outline),
        facets=skin(outline, focal_length=FOCAL_LENGTH, slope=0.0),
        fits=Fits(),
        dish={
            "outline_m2": 4.4532,
            "aperture_m2": 4.4532,
            "mirror_m2": 4.78,
            "facets": 1,
            "rim_angle_deg": 67.38,
            "focal_length_m": FOCAL_LENGTH,
        },
        budget_w=budget,
        first_hit_w={
            "receiver": Estimate(3120.0, 1.2),
            "stand": Estimate(96.0, 0.5),
            "other_parts": Estimate(0.0, 0.0),
            "none": Estimate(230.0, 0.9),
        },
        intercept_factor=Estimate(0.9054, 0.0003),
        direct_w={
            "incident": Estimate(84.0, 0.2),
            "absorbed": Estimate(76.0, 0.2),
            "mirror": Estimate(1.0, 0.1),
            "escaped": Estimate(7.0, 0.1),
            "lost": Estimate(0.0, 0.0),
        },
        focal_plane=make_screen("focal plane", 0.0),
        best_focus=make_screen("best focus", Estimate(0.0031, 2e-4)),
        highest_peak=make_screen("highest peak", Estimate(-0.0012, 9e-4)),
        parts=parts,
        meshes=tuple(part.mesh for part in parts.values()),
        screens={"below the pot": make_screen("below the pot", -0.12, sigma=0.05)},
        sample_rays=sample_rays(),
        notes=("Rays rounded up from 500000 to 524288, a whole number of work units.",),
    )
    result.to_dict = lambda: {
        "dishtrace": result.version,
        "scene": result.scene.title,
        "rays": result.rays,
        "seed": result.seed,
        "budget_w": {key: value.to_dict() for key, value in budget.items()},
    }
    return result
