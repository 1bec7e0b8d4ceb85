"""Checks of the parts that need more than one key, or the surface table, or a file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from dishtrace.errors import Fault
from dishtrace.scene.contents_checks import contents_faults
from dishtrace.scene.files import file_faults
from dishtrace.scene.lines import KeyPath
from dishtrace.scene.materials import LEAST_MIRROR_SHARE, known_surfaces
from dishtrace.scene.source import Source
from dishtrace.scene.wall import spin_faults, wall_faults
from dishtrace.scene.words import listed, nearest

COVER_SHAPES = ("disc", "rectangle", "tube", "sphere", "mesh")
MESH_ENDINGS = (".stl", ".obj", ".ply", ".glb")
_USUAL_SURFACES = ("black-paint", "stainless-polished", "steel-oxidised", "mirror-aluminium-sheet")


def part_faults(source: Source) -> Iterator[Fault]:
    """Faults of all parts as written."""
    for index in source.tables("part"):
        path: KeyPath = ("part", index)
        if source.value((*path, "role")) == "cover":
            yield from _cover_faults(source, path)
        else:
            yield from _surface_faults(source, path)
        for key in ("surface", "surface_back"):
            yield from _name_faults(source, (*path, key))
        if source.value((*path, "role")) == "mirror":
            yield from _mirror_faults(source, path)
        yield from _shape_faults(source, path)
        yield from wall_faults(source, path)
        yield from contents_faults(source, path)
        yield from spin_faults(source, path)


def _cover_faults(source: Source, path: KeyPath) -> Iterator[Fault]:
    """A cover is a sheet of glass: it has `cover` and no surface."""
    if not source.has((*path, "cover")):
        yield source.fault(
            (*path, "cover"),
            allowed="is missing",
            remedy="add cover = { refractive_index = 1.526, extinction_per_m = 16, thickness_m = 0.004 }",
        )
    for key in ("surface", "surface_back"):
        if source.has((*path, key)):
            yield source.fault(
                (*path, key),
                allowed='is not used for role = "cover"',
                remedy="the sheet in cover says it all",
            )
    shape = source.value((*path, "shape"))
    if isinstance(shape, str) and shape in ("box", "cylinder", "cone", "cavity"):
        remedy = "put a vessel of glass together from sheets, or draw it as a mesh"
        yield source.fault((*path, "shape"), allowed=f"must be {listed(COVER_SHAPES)} for a cover", remedy=remedy)


def _surface_faults(source: Source, path: KeyPath) -> Iterator[Fault]:
    """Every part but a cover has a surface and no sheet."""
    if not source.has((*path, "surface")):
        names = ", ".join(f'"{name}"' for name in _USUAL_SURFACES)
        remedy = f"name one of the surface table, such as {names}, or give {{ absorptance, specular_share }}"
        yield source.fault((*path, "surface"), allowed="is missing", remedy=remedy)
    if source.has((*path, "cover")):
        yield source.fault((*path, "cover"), allowed='is only for role = "cover"', remedy="make it a part of its own")


def _name_faults(source: Source, path: KeyPath) -> Iterator[Fault]:
    """A surface by name must be in the table."""
    name = source.value(path)
    if isinstance(name, str) and name not in known_surfaces():
        like = nearest(name.lower(), known_surfaces())
        known = f'did you mean "{like}"?' if like else f"known: {', '.join(known_surfaces())}"
        yield source.fault(path, allowed="is not in the surface table", remedy=known)


def _mirror_faults(source: Source, path: KeyPath) -> Iterator[Fault]:
    """A secondary mirror must reflect at least half of its reflected light as a mirror does."""
    given = source.value((*path, "surface"))
    if isinstance(given, str) and given in known_surfaces():
        share: float | None = known_surfaces()[given].specular_share
    elif isinstance(given, Mapping):
        share = source.number((*path, "surface", "specular_share"))
        share = 0.0 if share is None and "specular_share" not in given else share
    else:
        return
    if share is not None and share < LEAST_MIRROR_SHARE:
        mirrors = [name for name, surface in known_surfaces().items() if name.startswith("mirror-")]
        yield source.fault(
            (*path, "surface"),
            allowed=f'has a specular share of {share:g}, but role = "mirror" needs >= {LEAST_MIRROR_SHARE:g}',
            remedy=f"take one of {', '.join(mirrors)}, or another role",
        )


def _shape_faults(source: Source, path: KeyPath) -> Iterator[Fault]:
    """Sizes that do not go together, and mesh files."""
    shape = source.value((*path, "shape"))
    if shape == "cavity":
        radius, opening = source.number((*path, "radius_m")), source.number((*path, "opening_radius_m"))
        if radius is not None and opening is not None and opening >= radius > 0.0:
            yield source.fault(
                (*path, "opening_radius_m"),
                allowed=f"must be < radius_m = {radius:g}",
                remedy="a cavity without a lid is a tube and a disc",
            )
    if shape == "mesh":
        yield from file_faults(source, (*path, "file"))
        name = source.value((*path, "file"))
        if isinstance(name, str) and name.strip() and not name.lower().endswith(MESH_ENDINGS):
            yield source.fault((*path, "file"), allowed=f"must end in {', '.join(MESH_ENDINGS)}")
