"""Scenes with facets for the tests of the layouts."""

from __future__ import annotations

from pathlib import Path

from dishtrace.dish.facets import Facets
from dishtrace.dish.layouts import designed_facets, facets_of
from dishtrace.dish.outline import Outline, outline_of
from dishtrace.scene.model import Scene
from dishtrace.scene.read import scene_from_text

FOCAL_LENGTH = 0.6
ROUND = 'shape = "circle"\nradius_m = 0.75'
HOLED = ROUND + "\nhole_radius_m = 0.1"
LATERAL = 'shape = "circle"\nradius_m = 0.5\ncenter_m = [0.7, 0.2]'


def facet_scene(facets: str, *, outline: str = ROUND, dish: str = "", folder: Path | None = None) -> Scene:
    """A scene of focal length 0.6 m with the given lines of [dish.facets]."""
    return scene_from_text(
        f"[sun]\ndni_w_m2 = 900\n[dish]\nfocal_length_m = {FOCAL_LENGTH}\nreflectance = 0.9\n{dish}\n"
        f"[dish.outline]\n{outline}\n[dish.facets]\n{facets}\n",
        folder=folder,
    )


def built(facets: str, **how) -> tuple[Facets, Outline]:
    """The mirror of such a scene, with its errors, and its outline."""
    scene = facet_scene(facets, **how)
    outline = outline_of(scene)
    return facets_of(scene, outline), outline


def drawn(facets: str, **how) -> tuple[Facets, Outline]:
    """The mirror of such a scene as it is drawn, and its outline."""
    scene = facet_scene(facets, **how)
    outline = outline_of(scene)
    return designed_facets(scene, outline), outline
