"""The whole trace once more in plain NumPy: slow, without tree or kernels, written to be read. The oracle of the tests.

It takes the kernels' arrays and the same numbers, and books the same watts: `trace_reference` starts the two
populations of rays and follows all of them at once, one stretch at a time, until each has ended.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.trace import optics as column
from dishtrace.trace import reference_optics as physics
from dishtrace.trace.points import FACET_DIMENSION, N_SCRAMBLES, Points, point_values
from dishtrace.vec import normalise

if TYPE_CHECKING:
    from dishtrace.trace.cpu import Optics

ALL_OR_NONE = 0.01
"""Share of what a ray brought below which a surface takes all of it or none [–]."""
MOST_HITS = 10000
"""Hits after which a ray counts as lost [–]."""
RAY_FIELDS = (
    "number",
    "origin",
    "direction",
    "power",
    "brought",
    "is_touched",
    "is_from_sun",
    "facet",
    "leaving",
    "draws",
    "numbers",
)


@dataclass(frozen=True, eq=False)
class Reference:
    """What the rays left behind; sums over scrambles are powers of the whole run.

    Parameters
    ----------
    budget : (32, 22) float64
        In the columns of `optics`. [W]
    parts : (32, p, 2, 5) float64
        Figures of both sides of each part, in the columns of `optics`. [W]
    incident, absorbed : (n, 2) float64
        On both sides of each triangle: mirror light that arrives, all light that stays. [W]
    crossings : (k, 5) float64
        Scramble, screen, two map coordinates [m] and power [W] of each crossing of a screen.
    legs : (32, c, 9) float64
        First stretch of each ray that leaves the mirror: origin [m], direction [–], power times number of rays [W],
        end, end without receivers and covers [m].
    n_lost : int
        Rays that had not ended after `MOST_HITS` hits. [–]
    """

    budget: np.ndarray
    parts: np.ndarray
    incident: np.ndarray
    absorbed: np.ndarray
    crossings: np.ndarray
    legs: np.ndarray
    n_lost: int


@dataclass(frozen=True, eq=False)
class _Rays:
    """Rays on their way, all of one population; arrays have one row a ray.

    number (n,): of the ray; origin, direction (n, 3); power and what it brought (n,); is_touched: has met a part;
    is_from_sun: comes straight from the sun, through covers at most; facet and leaving: facet or triangle it starts
    from, -1 for none; draws: later numbers used so far; numbers (n, 3): for the next surface.
    """

    points: Points
    is_direct: bool
    number: np.ndarray
    origin: np.ndarray
    direction: np.ndarray
    power: np.ndarray
    brought: np.ndarray
    is_touched: np.ndarray
    is_from_sun: np.ndarray
    facet: np.ndarray
    leaving: np.ndarray
    draws: np.ndarray
    numbers: np.ndarray

    def only(self, chosen: np.ndarray) -> _Rays:
        """The chosen rays."""
        return replace(self, **{name: getattr(self, name)[chosen] for name in RAY_FIELDS})

    def and_also(self, other: _Rays) -> _Rays:
        """These rays and others."""
        both = {name: np.concatenate([getattr(self, name), getattr(other, name)]) for name in RAY_FIELDS}
        return replace(self, **both)

    def redrawn(self) -> tuple[np.ndarray, _Rays]:
        """Four new numbers for each ray (n, 4), and the rays after that draw."""
        numbers = physics.later_numbers(self.points, self.number, self.draws)
        return numbers, replace(self, draws=self.draws + 1)


def started(points: Points, *, is_direct: bool, number: np.ndarray, **given: np.ndarray) -> _Rays:
    """Rays at their start."""
    n = len(number)
    return _Rays(
        points=points,
        is_direct=is_direct,
        number=number,
        brought=given["power"],
        is_touched=np.zeros(n, dtype=bool),
        is_from_sun=np.full(n, is_direct),
        draws=np.zeros(n, dtype=np.int64),
        **given,
    )


def trace_reference(optics: Optics, screens: column.Screens, *, count: int, start: int = 0) -> Reference:
    """Trace points `start .. start + count - 1` of all 32 scrambles.

    Parameters
    ----------
    optics, screens : Optics, Screens
        As for the kernels.
    count, start : int
        Multiples of 16. [–]

    Returns
    -------
    Reference
        The kernels' tally divided by the number of rays, 32 count.
    """
    books = Books(optics, screens, count=count, start=start)
    books.follow(mirror_rays(books, optics, start=start, count=count))
    if len(optics.parts.part):
        per_direct = column.MIRROR_RAYS_PER_DIRECT
        rays, triangle = direct_rays(optics, start=start // per_direct, count=count // per_direct)
        books.follow(books.meet_parts(rays, triangle))
    return books.closed()


def all_points(points: Points, *, start: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Numbers (32 count, d) and ray numbers (32 count,) of a stretch of all scrambles."""
    u = [point_values(points, scramble=k, start=start, count=count) for k in range(N_SCRAMBLES)]
    number = np.arange(start, start + count) * N_SCRAMBLES + np.arange(N_SCRAMBLES)[:, np.newaxis]
    return np.concatenate(u), number.ravel()


def mirror_rays(books: Books, optics: Optics, *, start: int, count: int) -> _Rays:
    """Rays that leave the mirror for the first time; what happens before is booked."""
    mirror, parts = optics.mirror, optics.parts
    u, number = all_points(optics.mirror_points, start=start, count=count)
    facet, _ = physics.picked(mirror.pick_cdf, u[:, FACET_DIMENSION])
    place, normals = physics.places_on(mirror, facet, u[:, :2])
    turns = physics.outwards(place) if len(mirror.kind) == 1 else np.tile(np.eye(2), (len(place), 1, 1))
    to_sun, cosine = physics.sun_rays(optics.sun, u[:, 2:4], jitter=mirror.jitter, u_jitter=u[:, 8:10], turns=turns)
    power = mirror.power[facet] * np.sum(to_sun * normals, axis=1) / cosine
    t, before = physics.nearest_facet(mirror, place, to_sun, facet)
    meeting = place + np.where(before >= 0, t, 0.0)[:, np.newaxis] * to_sun
    faces_sun = np.sum(physics.normals_at(mirror, before, meeting) * to_sun, axis=1) > 0.0
    is_taken_before = (before >= 0) & faces_sun
    books.add(column.OVERLAP, number[is_taken_before], np.maximum(power[is_taken_before], 0.0))
    own = (power > 0.0) & ~is_taken_before
    u, number, facet, place, normals, to_sun, power = (
        values[own] for values in (u, number, facet, place, normalise(normals), to_sun, power)
    )
    books.add(column.OUTLINE, number, power)
    sticks_out = ~physics.is_over_outline(mirror, place)
    books.add(column.OVERHANG, number[sticks_out], power[sticks_out])
    nothing = np.full(len(number), -1)
    arriving = power * (before[own] < 0)
    arriving *= physics.light_let_through(parts, place, to_sun, nothing, is_cover_clear=True)
    books.add(column.SHADED, number, power - arriving)
    share, away, gets_off = physics.mirror_reflection(mirror, facet, normals, -to_sun, u[:, 4:8], turns[own])
    kept = arriving * share * gets_off
    books.add(column.MIRROR_ABSORBED, number, arriving - kept)
    books.add(column.LEAVING, number, kept)
    rays = started(
        optics.mirror_points,
        is_direct=False,
        number=number,
        origin=place,
        direction=away,
        power=kept,
        facet=facet,
        leaving=nothing,
        numbers=u[:, 10:13],
    ).only(kept > 0.0)
    books.note_legs(rays)
    return rays


def direct_rays(optics: Optics, *, start: int, count: int) -> tuple[_Rays, np.ndarray]:
    """Rays that meet a part straight from the sun, at that part, and its triangle."""
    parts = optics.parts
    u, number = all_points(optics.direct_points, start=start, count=count)
    triangle, _ = physics.picked(parts.direct_cdf, u[:, 0])
    corner, first, second = np.split(parts.corners[triangle], 3, axis=1)
    root = np.sqrt(u[:, 1:2])
    place = corner + root * (1.0 - u[:, 2:3]) * first + root * u[:, 2:3] * second
    to_sun, cosine = physics.sun_rays(optics.sun, u[:, 3:5], jitter=0.0, u_jitter=u[:, 3:5])
    power = parts.direct_power[triangle] * np.abs(np.sum(to_sun * parts.normal[triangle], axis=1)) / cosine
    nothing = np.full(len(number), -1)
    sees_sun = np.isinf(physics.nearest_facet(optics.mirror, place, to_sun, nothing)[0])
    sees_sun &= physics.light_let_through(parts, place, to_sun, triangle, is_cover_clear=False) == 1.0
    lit = sees_sun & (power > 0.0)
    rays = started(
        optics.direct_points,
        is_direct=True,
        number=number,
        origin=place,
        direction=-to_sun,
        power=power,
        facet=nothing,
        leaving=nothing,
        numbers=u[:, 5:8],
    )
    return rays.only(lit), triangle[lit]


class Books:
    """Follows rays and keeps account; not yet divided by the number of rays.

    Parameters
    ----------
    optics, screens, count, start
        As for `trace_reference`.
    """

    def __init__(self, optics: Optics, screens: column.Screens, *, count: int, start: int) -> None:
        self.optics, self.screens, self.count, self.start = optics, screens, count, start
        parts = optics.parts
        self.budget = np.zeros((N_SCRAMBLES, column.N_BUDGET))
        self.figures = np.zeros((N_SCRAMBLES, len(parts.role), 2, column.N_PART_FIGURES))
        self.incident, self.absorbed = np.zeros((2, len(parts.part), 2))
        self.legs = np.zeros((N_SCRAMBLES, count, 9))
        self.crossings: list[np.ndarray] = []
        self.n_lost = 0
        is_solid = (parts.role[parts.part] != column.ROLE_RECEIVER) & (parts.cover[parts.part, 0] == 0.0)
        self.solid, self.clear = np.flatnonzero(is_solid), np.flatnonzero(~is_solid)

    def closed(self) -> Reference:
        """The account per ray traced."""
        n_rays = N_SCRAMBLES * self.count
        crossings = np.concatenate([np.zeros((0, 5)), *self.crossings])
        crossings[:, 4] /= n_rays
        sums = (self.budget / n_rays, self.figures / n_rays, self.incident / n_rays, self.absorbed / n_rays)
        return Reference(*sums, crossings, self.legs, self.n_lost)

    def add(self, budget_column: int | np.ndarray, number: np.ndarray, power: np.ndarray) -> None:
        """Book power in a column of the budget."""
        np.add.at(self.budget, (number % N_SCRAMBLES, budget_column), power)

    def follow(self, rays: _Rays) -> None:
        """Follow rays to their ends."""
        for _ in range(MOST_HITS):
            if len(rays.number) == 0:
                return
            rays = self.next_stretch(rays)
        self.add(column.DIRECT_LOST if rays.is_direct else column.LOST, rays.number, rays.power)
        self.n_lost += len(rays.number)

    def ends(self, rays: _Rays) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Where stretches end: distance, the same without receivers and covers, triangle or -1, and nearest facet."""
        t_facet, facet = physics.nearest_facet(self.optics.mirror, rays.origin, rays.direction, rays.facet)
        way = (self.optics.parts, rays.origin, rays.direction, rays.leaving)
        t_solid, solid = physics.nearest_triangle(*way, self.solid)
        t_clear, clear = physics.nearest_triangle(*way, self.clear)
        t_opaque = np.minimum(t_facet, t_solid)
        triangle = np.where(t_clear < t_opaque, clear, np.where(t_solid < t_facet, solid, -1))
        return np.minimum(t_opaque, t_clear), t_opaque, triangle, facet

    def note_legs(self, rays: _Rays) -> None:
        """Keep the first stretch of each ray."""
        t, t_opaque, _, _ = self.ends(rays)
        place = rays.number % N_SCRAMBLES, rays.number // N_SCRAMBLES - self.start
        self.legs[place] = np.column_stack([rays.origin, rays.direction, rays.power, t, t_opaque])

    def next_stretch(self, rays: _Rays) -> _Rays:
        """Carry all rays to what they meet next; those that go on from there."""
        t, t_opaque, triangle, facet = self.ends(rays)
        if not rays.is_direct:
            self.cross_screens(rays, t, t_opaque)
        is_gone = np.isinf(t)
        self.leave(rays.only(is_gone))
        place = rays.origin + np.where(is_gone, 0.0, t)[:, np.newaxis] * rays.direction
        rays = replace(rays, origin=place, facet=facet)
        at_part = triangle >= 0
        off_mirror = self.meet_mirror(rays.only(~is_gone & ~at_part))
        return off_mirror.and_also(self.meet_parts(rays.only(at_part), triangle[at_part]))

    def leave(self, rays: _Rays) -> None:
        """Book light that leaves the scene."""
        if rays.is_direct:
            self.add(column.DIRECT_ESCAPED, rays.number, rays.power)
            return
        for budget_column, chosen in (
            (column.ESCAPED, rays.is_touched),
            (column.MISSED, ~rays.is_touched),
            (column.FIRST_NONE, ~rays.is_touched),
        ):
            self.add(budget_column, rays.number[chosen], rays.power[chosen])

    def cross_screens(self, rays: _Rays, t_end: np.ndarray, t_opaque: np.ndarray) -> None:
        """Note light that has touched no part and crosses a screen from the front."""
        for k, (origin, facing) in enumerate(zip(self.screens.origin, self.screens.facing, strict=True)):
            towards = rays.direction @ facing
            is_front = (towards < 0.0) & ~rays.is_touched
            t = np.divide((origin - rays.origin) @ facing, towards, out=np.full(len(towards), -1.0), where=is_front)
            crosses = (t > 0.0) & (t <= (t_opaque if self.screens.is_clear[k] else t_end))
            place = rays.origin[crosses] + t[crosses, np.newaxis] * rays.direction[crosses] - origin
            axis_x, axis_y = self.screens.axes[k].reshape(2, 3)
            scramble = rays.number[crosses] % N_SCRAMBLES
            found = (scramble, np.full(len(place), k), place @ axis_x, place @ axis_y, rays.power[crosses])
            self.crossings.append(np.column_stack(found))

    def meet_mirror(self, rays: _Rays) -> _Rays:
        """Later hits on facets: their backs stop light, their fronts reflect all but what is a mirror ray there."""
        mirror = self.optics.mirror
        facing = physics.normals_at(mirror, rays.facet, rays.origin)
        goes_on = ~rays.is_from_sun & (np.sum(rays.direction * facing, axis=1) < 0.0)
        stopped = rays.only(~goes_on)
        self.add(column.DIRECT_MIRROR if rays.is_direct else column.BLOCKED, stopped.number, stopped.power)
        numbers, rays = rays.only(goes_on).redrawn()
        share, away, gets_off = physics.mirror_reflection(mirror, rays.facet, facing[goes_on], rays.direction, numbers)
        kept = rays.power * share * gets_off
        lost_in = column.DIRECT_MIRROR if rays.is_direct else column.MIRROR_ABSORBED
        self.add(lost_in, rays.number, rays.power - kept)
        rays = replace(rays, direction=away, power=kept, leaving=np.full(len(kept), -1))
        return rays.only(kept > 0.0)

    def meet_parts(self, rays: _Rays, triangle: np.ndarray) -> _Rays:
        """Light that arrives on triangles: book it, and send on what is not absorbed."""
        parts = self.optics.parts
        facing = np.sum(rays.direction * parts.normal[triangle], axis=1)
        side = np.where(facing < 0.0, 0, 1)
        part = parts.part[triangle]
        shares = physics.shares_that_go_on(parts, part, side, np.abs(facing))
        going = shares.sum(axis=1)
        u = rays.numbers[:, 0]
        is_faint = rays.power <= ALL_OR_NONE * rays.brought
        absorbed = np.where(is_faint, np.where(u < going, 0.0, rays.power), rays.power * (1.0 - going))
        self.book(rays, triangle, part, side, absorbed)
        goes_on = rays.power - absorbed > 0.0
        u = np.where(is_faint & goes_on, u / np.where(goes_on, going, 1.0), u)
        away = self.sent_on(rays, triangle, side, shares, u)
        rays = replace(
            rays,
            direction=away,
            power=rays.power - absorbed,
            is_touched=np.ones(len(part), dtype=bool),
            is_from_sun=rays.is_from_sun & np.all(away == rays.direction, axis=1),
            facet=np.full(len(part), -1),
            leaving=triangle,
        ).only(goes_on)
        numbers, rays = rays.redrawn()
        return replace(rays, numbers=numbers[:, :3])

    def sent_on(
        self, rays: _Rays, triangle: np.ndarray, side: np.ndarray, shares: np.ndarray, u: np.ndarray
    ) -> np.ndarray:
        """New directions: the number u picks what happens, glass lets light through first, other surfaces mirror it."""
        normals = self.optics.parts.normal[triangle]
        is_glass = self.optics.parts.cover[self.optics.parts.part[triangle], 0] > 0.0
        leading = np.where(is_glass, shares[:, 2], shares[:, 0])
        with np.errstate(invalid="ignore"):
            is_leading = u < leading / shares.sum(axis=1)
        outward = np.where(side == 0, 1.0, -1.0)[:, np.newaxis] * normals
        mirrored, scattered = (
            physics.mirrored(rays.direction, normals),
            physics.diffuse(outward, rays.numbers[:, 1:]),
        )
        first = np.where(is_glass[:, np.newaxis], rays.direction, mirrored)
        other = np.where(is_glass[:, np.newaxis], mirrored, scattered)
        return np.where(is_leading[:, np.newaxis], first, other)

    def book(self, rays: _Rays, triangle: np.ndarray, part: np.ndarray, side: np.ndarray, absorbed: np.ndarray) -> None:
        """Book arrivals on parts."""
        scramble, is_first = rays.number % N_SCRAMBLES, ~rays.is_touched
        first = np.where(is_first, rays.power, 0.0)
        np.add.at(self.absorbed, (triangle, side), absorbed)
        if rays.is_direct:
            np.add.at(self.figures, (scramble, part, side, column.PART_DIRECT_INCIDENT), rays.power)
            np.add.at(self.figures, (scramble, part, side, column.PART_DIRECT_ABSORBED), absorbed)
            self.add(column.DIRECT_INCIDENT, rays.number, first)
            self.add(column.DIRECT_ABSORBED, rays.number, absorbed)
            return
        role = self.optics.parts.role[part]
        np.add.at(self.incident, (triangle, side), rays.power)
        np.add.at(self.figures, (scramble, part, side, column.INCIDENT), rays.power)
        np.add.at(self.figures, (scramble, part, side, column.ABSORBED), absorbed)
        np.add.at(self.figures, (scramble, part, side, column.FIRST), first)
        self.add(column.RECEIVER_ABSORBED + role, rays.number, absorbed)
        self.add(column.FIRST_RECEIVER + role, rays.number, first)
