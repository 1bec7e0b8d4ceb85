"""Checks that need more than one key, made on what is written so that they are told with all others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime

from dishtrace.errors import Fault, InputError
from dishtrace.scene.facet_checks import facet_faults
from dishtrace.scene.files import file_faults
from dishtrace.scene.lines import KeyPath
from dishtrace.scene.materials import read_reflectance
from dishtrace.scene.mount_checks import DIRECTION_REMEDY, has_direction, mount_faults
from dishtrace.scene.part_checks import part_faults
from dishtrace.scene.source import Source, is_list
from dishtrace.scene.surroundings import surroundings_faults

_IRRADIANCE = ("dni_w_m2", "dni", "weather_file")


def cross_faults(source: Source) -> list[Fault]:
    """Faults between keys, names and files of a scene as written.

    Parameters
    ----------
    source : Source
        What is written; values of a wrong type or out of range are passed over, since the model tells them.
    """
    return [
        *_sun_faults(source),
        *_irradiance_faults(source),
        *_sunshape_faults(source),
        *mount_faults(source),
        *_direction_faults(source),
        *_dish_faults(source),
        *facet_faults(source),
        *part_faults(source),
        *_screen_faults(source),
        *name_faults(source, "part"),
        *name_faults(source, "screen"),
        *name_faults(source, "obstacle"),
        *surroundings_faults(source),
        *_file_faults(source),
    ]


def scene_notes(source: Source) -> tuple[str, ...]:
    """What the user should know about a sound scene although nothing is wrong."""
    notes = []
    roles = [source.value(("part", index, "role")) for index in source.tables("part")]
    if "receiver" not in roles:
        notes.append('The scene has no part with role = "receiver": the focal spot is told, but nothing receives it.')
    offset = _zone_minus_longitude_h(source)
    if offset is not None and abs(offset) > 3.5:
        side = "ahead of" if offset > 0 else "behind"
        notes.append(
            f"The zone of sun.time is {abs(offset):.1f} h {side} what the longitude "
            "suggests: check the signs of both (east and ahead of UTC are positive)."
        )
    return tuple(notes)


def _zone_minus_longitude_h(source: Source) -> float | None:
    """Hours by which the time's zone is ahead of the site's mean solar time; None for UTC or no site."""
    time, longitude = source.value(("sun", "time")), source.number(("site", "longitude_deg"))
    if not isinstance(time, datetime) or longitude is None or not time.utcoffset():
        return None
    hours = time.utcoffset().total_seconds() / 3600.0 - longitude / 15.0
    return (hours + 12.0) % 24.0 - 12.0


def _sun_faults(source: Source) -> Iterator[Fault]:
    """Time, azimuth and elevation: one way to say where the sun stands, and all of it."""
    has = {key: source.has(("sun", key)) for key in ("time", "azimuth_deg", "elevation_deg")}
    if has["time"] and not source.has(("site",)):
        yield source.fault(
            ("sun", "time"), allowed="needs a place", remedy="add [site] with latitude_deg and longitude_deg"
        )
    for key, other in (("azimuth_deg", "elevation_deg"), ("elevation_deg", "azimuth_deg")):
        if has["time"] and has[key]:
            yield source.fault(
                ("sun", key),
                allowed="cannot stand beside sun.time",
                remedy="the time gives it; remove one of them",
            )
        elif has[key] and not has[other]:
            yield source.fault(("sun", key), allowed=f"needs sun.{other} too", remedy="give both or neither")


def _irradiance_faults(source: Source) -> Iterator[Fault]:
    """One way to say how bright the sun is, and what it needs."""
    given = [key for key in _IRRADIANCE if source.has(("sun", key))]
    if not given and isinstance(source.value(("sun",)), Mapping):
        yield source.fault(
            ("sun",),
            allowed="needs the direct normal irradiance",
            remedy='give one of dni_w_m2 = 900, dni = "clear-sky", weather_file = "....epw"',
        )
    for key in given[1:]:
        yield source.fault(
            ("sun", key), allowed=f"cannot stand beside sun.{given[0]}", remedy="keep the one that is meant"
        )
    for key in given:
        lacking = [name for name in ("sun.time", "site") if not source.has(tuple(name.split(".")))]
        if key != "dni_w_m2" and lacking:
            yield source.fault(
                ("sun", key), allowed=f"needs {' and '.join(lacking)}", remedy="or give dni_w_m2 as a number"
            )
    if source.has(("sun", "linke_turbidity")) and not source.has(("sun", "dni")):
        yield source.fault(
            ("sun", "linke_turbidity"),
            allowed='is only used with dni = "clear-sky"',
            remedy="remove it, or add that",
        )


def _sunshape_faults(source: Source) -> Iterator[Fault]:
    """A circumsolar sun by csr or chi."""
    shape: KeyPath = ("sun", "shape")
    if source.value((*shape, "profile")) != "circumsolar":
        return
    has_csr, has_chi = source.has((*shape, "csr")), source.has((*shape, "chi"))
    if has_csr and has_chi:
        yield source.fault((*shape, "chi"), allowed="cannot stand beside csr", remedy="keep the one that is meant")
    if not has_csr and not has_chi:
        yield source.fault((*shape, "csr"), allowed="is missing", remedy="give csr = 0.05, or the paper's chi")


def _direction_faults(source: Source) -> Iterator[Fault]:
    """What is placed on the ground and so cannot be without a direction of the sun."""
    if has_direction(source):
        return
    needs = "needs the direction of the sun"
    for table in ("part", "screen"):
        for index in source.tables(table):
            if source.value((table, index, "frame")) == "ground":
                yield source.fault((table, index, "frame"), allowed=needs, remedy=DIRECTION_REMEDY)


def _dish_faults(source: Source) -> Iterator[Fault]:
    """Outlines that are none."""
    outline: KeyPath = ("dish", "outline")
    shape = source.value((*outline, "shape"))
    if shape == "circle":
        radius, hole = source.number((*outline, "radius_m")), source.number((*outline, "hole_radius_m"))
        if radius is not None and hole is not None and hole >= radius > 0.0:
            yield source.fault(
                (*outline, "hole_radius_m"),
                allowed=f"must be < radius_m = {radius:g}",
                remedy="the hole eats the dish",
            )
    if shape == "polygon":
        reason = _polygon_reason(source.value((*outline, "vertices_m")))
        if reason:
            yield source.fault(
                (*outline, "vertices_m"),
                allowed=reason,
                remedy="list the corners in order around the outline",
            )


def _polygon_reason(corners: object) -> str:
    """Why corners make no outline; empty when they do or when they are not corners at all."""
    if not is_list(corners) or len(corners) < 3:
        return ""
    if not all(is_list(corner) and len(corner) == 2 and all(map(_is_length, corner)) for corner in corners):
        return ""
    from shapely import Polygon
    from shapely.validation import explain_validity

    polygon = Polygon([(float(x), float(y)) for x, y in corners])
    width = max(polygon.bounds[2] - polygon.bounds[0], polygon.bounds[3] - polygon.bounds[1])
    if polygon.convex_hull.area <= 1e-6 * width**2:
        return "must enclose an area, but its corners lie on a line"
    if not polygon.is_valid:
        place = explain_validity(polygon).partition("[")[2].rstrip("]").split()
        at = f" near [{', '.join(f'{float(number):g}' for number in place)}]" if len(place) == 2 else ""
        return f"must be a simple polygon, but its edges cross or touch{at}"
    return ""


def _is_length(value: object) -> bool:
    """Whether a value is a number of metres within the range of the model."""
    return not isinstance(value, bool) and isinstance(value, (int, float)) and -100.0 <= value <= 100.0


def _screen_faults(source: Source) -> Iterator[Fault]:
    """Where a screen stands."""
    for index in source.tables("screen"):
        path: KeyPath = ("screen", index)
        has_offset, has_center = source.has((*path, "offset_m")), source.has((*path, "center_m"))
        if has_offset and has_center:
            yield source.fault(
                (*path, "center_m"),
                allowed="cannot stand beside offset_m",
                remedy="keep the one that is meant",
            )
        elif has_offset and source.value((*path, "frame")) == "ground":
            yield source.fault(
                (*path, "offset_m"),
                allowed='is only for frame = "dish"',
                remedy="give center_m in the ground frame",
            )
        elif not has_offset and not has_center:
            yield source.fault(
                path,
                allowed="has no place",
                remedy="give offset_m along the axis from the focus, or center_m",
            )


def name_faults(source: Source, table: str) -> Iterator[Fault]:
    """Names used twice in an array of tables; capitals make no difference, since names become file names."""
    first: dict[str, int] = {}
    for index in source.tables(table):
        name = source.value((table, index, "name"))
        if not isinstance(name, str):
            continue
        before = first.setdefault(name.casefold(), index)
        if before != index:
            place = source.where((table, before, "name"))
            yield source.fault(
                (table, index, "name"), allowed=f"is used already ({place})", remedy="give each its own name"
            )


def _file_faults(source: Source) -> Iterator[Fault]:
    """Files of the sun and the dish that are not there, and what is wrong inside the reflectance file."""
    yield from file_faults(source, ("sun", "weather_file"))
    if source.value(("sun", "shape", "profile")) == "table":
        yield from file_faults(source, ("sun", "shape", "file"))
    name = source.value(("dish", "reflectance"))
    if isinstance(name, str) and name.lower().endswith(".csv"):
        missing = list(file_faults(source, ("dish", "reflectance")))
        yield from missing
        if not missing:
            try:
                read_reflectance(source.path(name), name)
            except InputError as error:
                yield from error.faults
