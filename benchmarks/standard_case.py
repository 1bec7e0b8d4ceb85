"""The standard case as a dishtrace scene: the same numbers and the same mesh as embree_script.py.

A round mirror of focal length 0.9 m and radius 1.2 m without a hole, a uniform sun of 4.65 mrad, 3 mrad of
slope error per axis, and a closed cylinder of 8192 triangles at the focus, as a mesh file. The cylinder is
black, so that every path ends at its first hit and a ray costs two queries.
"""

from __future__ import annotations

from pathlib import Path

import embree_script as script


def write_mesh(path: Path) -> None:
    """Write the cylinder as an OBJ file.

    Parameters
    ----------
    path : Path
        Where to. Lengths in metres, with all digits.
    """
    vertices, faces = script.cylinder()
    lines = [f"v {x:.17g} {y:.17g} {z:.17g}" for x, y, z in vertices]
    lines += [f"f {a} {b} {c}" for a, b, c in faces + 1]
    path.write_text("\n".join(lines) + "\n", encoding="ascii")


def write_scene(folder: Path) -> Path:
    """Write scene and mesh.

    Parameters
    ----------
    folder : Path
        An existing folder.

    Returns
    -------
    Path
        The scene file.
    """
    write_mesh(folder / "cylinder.obj")
    scene = folder / "standard-case.toml"
    scene.write_text(
        f"""title = "Standard case of the benchmarks"

[sun]
dni_w_m2 = {script.DNI_W_M2!r}
shape = {{ profile = "pillbox", half_angle_mrad = {1e3 * script.SUN_HALF_ANGLE_RAD!r} }}

[mount]
kind = "two-axis"

[dish]
focal_length_m = {script.FOCAL_LENGTH_M!r}
reflectance = {script.REFLECTANCE!r}
slope_error_mrad = {1e3 * script.SLOPE_ERROR_RAD!r}

[dish.outline]
shape = "circle"
radius_m = {script.APERTURE_RADIUS_M!r}

[[part]]
name = "cylinder"
role = "receiver"
shape = "mesh"
file = "cylinder.obj"
unit = "m"
surface = {{ absorptance = 1.0, emittance = 1.0, specular_share = 0.0 }}
""",
        encoding="utf-8",
    )
    return scene
