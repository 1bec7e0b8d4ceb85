"""The brightest disc of a part, by looking back over the mirror, and the flux over discs and patches.

A disc about the brightest point, or about the middle of the tally's brightest triangle; where the flux is uneven, with
a hollow or a ridge, the better of the two is moved to where it is brighter. The value that is told is taken with other
sample points than the search, so that it is not biased high.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from dishtrace.flux.disc import Disc, Patch, disc_about
from dishtrace.flux.look import Look, places_in_patch
from dishtrace.flux.peak import PATCH_AREA
from dishtrace.flux.peak_point import SEARCH_COUNT, SURE_COUNT, brightest_point
from dishtrace.stats import Estimate

if TYPE_CHECKING:
    from dishtrace.flux.part import PartResult
    from dishtrace.parts.assemble import PartMesh

# Samples of each scramble for what is told of a disc, and of a patch of triangles, which the rays do not know well
# either; and for a disc of the search.
DISC_COUNT, PATCH_COUNT, SEARCH_DISC_COUNT = 2048, 512, 256
# Where the mean over a disc that is told, or any other mean, has a larger error than this, so many times as many
# samples are taken.
SURE_SHARE, SEARCH_SHARE, MORE = 0.005, 0.01, 8
# Standard errors of the difference of two discs that are more than noise.
BRIGHTER = 1.0
# Where a point is so many times as bright as the disc, another disc may be brighter: it is moved, at most so often, by
# a look at so many places of each scramble in an area so many times its own.
UNEVEN, MOST_MOVES, MOVE_COUNT, WIDE = 1.1, 16, 16, 2.25


def brightest(look: Look, part: PartResult) -> tuple[np.ndarray, int, Disc]:
    """The brightest point near the tally's peak [m], the triangle that it lies on, and the brightest disc.

    Deterministic: all places are looked at with the same sample points.
    """
    mesh, side, first = part.mesh, part.peak_side, part.peak_triangle
    discs = _Discs(look, mesh, side)
    rival = discs.about(mesh.triangles[first].mean(axis=0), first)
    for count in (SEARCH_COUNT, SURE_COUNT):
        place, triangle = brightest_point(look, mesh, first, side, count=count)
        seen = discs.about(place, triangle)
        # Else there is a hollow, or the light is so faint that the search was misled.
        if not rival.is_brighter_than(seen):
            break
    best = max(seen, rival, key=lambda each: each.flux.value)
    if rival.is_brighter_than(seen) or discs.at(place, triangle) > UNEVEN * best.flux.value:
        best = discs.moved(best)
    return place, triangle, best.disc


class _Seen(NamedTuple):
    """A disc, its flux of first arrivals as a search sees it [W/m2], and how many times the usual samples it took."""

    flux: Estimate
    disc: Disc
    more: int

    def is_brighter_than(self, other: _Seen) -> bool:
        """Whether it is by more than noise: a search that follows noise takes long and comes to nothing."""
        noise = np.hypot(self.flux.se or 0.0, other.flux.se or 0.0)
        return self.flux.value - other.flux.value > BRIGHTER * noise


class _Discs:
    """Discs of one side of a part, for a search."""

    def __init__(self, look: Look, mesh: PartMesh, side: str) -> None:
        points = {"points": look.search_points, "patch_points": look.search_points}
        self.look, self.mesh, self.side = replace(look, **points), mesh, side

    def about(self, place: np.ndarray, triangle: int) -> _Seen:
        """The disc about a point on a triangle."""
        disc = disc_about(self.mesh, place, triangle, self.side, area=PATCH_AREA)
        flux, more = sure_flux(self.look, disc, count=SEARCH_DISC_COUNT, share=SEARCH_SHARE)
        return _Seen(flux, disc, more)

    def at(self, place: np.ndarray, triangle: int) -> float:
        """Flux of first arrivals at a point. [W/m2]"""
        normal = self.mesh.normals[triangle] * (1.0 if self.side == "front" else -1.0)
        look = self.look.aimed(place, normal)
        return float(look.at(place[np.newaxis], normal[np.newaxis], count=SURE_COUNT).sum())

    def moved(self, best: _Seen) -> _Seen:
        """The brightest disc that one gets to by moving it to where a look at places in and around it is brighter."""
        for _ in range(MOST_MOVES):
            wide = disc_about(self.mesh, best.disc.place, best.disc.triangle, self.side, area=WIDE * best.disc.area)
            places, which = places_in_patch(wide.triangles, wide.shares, self.look.patch_points, count=MOVE_COUNT)
            look = self.look.aimed(wide.place, wide.normals[0], blur=wide.radius)
            flux = look.at(places, wide.normals[which], count=best.more).sum(axis=1)
            apart = np.linalg.norm(places[:, np.newaxis] - places, axis=2)
            is_near = np.linalg.norm(places - wide.place, axis=1) < wide.radius - best.disc.radius
            if not is_near.any():
                break
            is_in = apart[is_near] < best.disc.radius
            to = np.flatnonzero(is_near)[np.argmax((is_in @ flux) / is_in.sum(axis=1))]
            rival = self.about(places[to], int(wide.index[which[to]]))
            if rival.flux.value <= best.flux.value:
                break
            best = rival
        return best


def flux_over(look: Look, patch: Patch, *, count: int) -> Estimate:
    """Mean flux of first arrivals over a patch or a disc, looked back. [W/m2]"""
    seeing = look.aimed(patch.triangles[0].mean(axis=0), patch.normals[0], blur=patch.radius)
    places, which = places_in_patch(patch.triangles, patch.shares, look.patch_points, count=count)
    return seeing.over(places, patch.normals[which])


def flux_to_tell(look: Look, patch: Patch) -> Estimate:
    """Mean flux of first arrivals over a disc or patch, sure enough to be told. [W/m2]"""
    return sure_flux(look, patch, count=DISC_COUNT, share=SURE_SHARE)[0]


def flux_to_compare(look: Look, patch: Patch) -> Estimate:
    """Mean flux of first arrivals over a patch of triangles, to be compared with that of the rays. [W/m2]"""
    return sure_flux(look, patch, count=PATCH_COUNT, share=SEARCH_SHARE)[0]


def sure_flux(look: Look, patch: Patch, *, count: int, share: float) -> tuple[Estimate, int]:
    """`flux_over`, and how many times the samples were taken: more where the error exceeds a share of the flux."""
    flux = flux_over(look, patch, count=count)
    if flux.se is not None and flux.se <= share * flux.value:
        return flux, 1
    return flux_over(look, patch, count=MORE * count), MORE
