"""The pictures, and the only folder that imports matplotlib: flux, spots, profiles, side view, measured mirrors, more.

Figures are made directly, without the interactive layer of the library, so that no window system is touched and no
setting of the process changes. Colours are the perceptually uniform "viridis", and "coolwarm" for heights on both sides
of 0; contour lines, sizes or printed numbers say the same without colour. `draw_all` draws every picture of a result,
`draw_flux`, `draw_spot`, `draw_profile`, `draw_measured`, `draw_measured_facet` and `draw_side_view` one each;
`draw_comparison` draws the spots of a comparison.
"""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from dishtrace.report import fluxmap
from dishtrace.report.exports import named_screens
from dishtrace.report.folder import UNDRAWN_SCREENS, slugs
from dishtrace.report.pictures.flux import draw_flux
from dishtrace.report.pictures.measured import draw_measured, draw_measured_facet
from dishtrace.report.pictures.side import draw_side_view
from dishtrace.report.pictures.spot import draw_profile, draw_spot
from dishtrace.report.pictures.style import saved

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from matplotlib.figure import Figure

    from dishtrace.flux.result import Result
    from dishtrace.flux.sketch import Sketch
    from dishtrace.study.comparison import Comparison

__all__ = [
    "draw_all",
    "draw_comparison",
    "draw_flux",
    "draw_measured",
    "draw_measured_facet",
    "draw_profile",
    "draw_side_view",
    "draw_spot",
    "write_comparison_picture",
]


def draw_all(result: Result, folder: Path) -> Iterator[str]:
    """Draw every picture of a result.

    Parameters
    ----------
    result : Result
        A traced scene.
    folder : Path
        Exists and can be written.

    Yields
    ------
    str
        The name of each file once it is written.
    """
    for name, draw in pictures_of(result).items():
        yield saved(draw(), result.version, folder / name)


def pictures_of(result: Result) -> dict[str, Callable[[], Figure]]:
    """What draws each picture of a result, by the name of its file."""
    return pictures_of_sketch(result) | pictures_of_rays(result) | pictures_of_parts(result)


def pictures_of_sketch(sketch: Result | Sketch) -> dict[str, Callable[[], Figure]]:
    """The same for those that tell no flux, so that they can be drawn before the scene is traced."""
    return {"side-view.png": partial(draw_side_view, sketch)}


def pictures_of_rays(result: Result) -> dict[str, Callable[[], Figure]]:
    """The same for those that tell no peak of a part, so that they can be drawn before it is looked back for peaks."""
    found: dict[str, Callable[[], Figure]] = {}
    for name, screen in named_screens(result).items():
        if name in UNDRAWN_SCREENS:
            continue
        found[f"spot-{name}.png"] = partial(draw_spot, result, screen)
        found[f"profile-{name}.png"] = partial(draw_profile, result, screen)
    mirror, facets = result.fits.mirror, result.fits.facets
    if mirror is not None:
        found["measured-mirror.png"] = partial(draw_measured, result, mirror)
    for slug, (name, fit) in zip(slugs(Path(file).stem for file in facets), facets.items(), strict=True):
        found[f"measured-facet-{slug}.png"] = partial(draw_measured_facet, result, name, fit)
    return found


def pictures_of_parts(result: Result) -> dict[str, Callable[[], Figure]]:
    """The same for the flux maps of parts, which tell their peaks."""
    return {
        f"flux-{name}.png": partial(draw_flux, result, part)
        for name, part in zip(slugs(result.parts), result.parts.values(), strict=True)
        if fluxmap.can_be_mapped(part)
    }


def draw_comparison(comparison: Comparison) -> Figure:
    """Spots at the best focus side by side; see `pictures.comparison`."""
    from dishtrace.report.pictures.comparison import draw_comparison as draw

    return draw(comparison)


def write_comparison_picture(comparison: Comparison, folder: Path) -> str:
    """Write comparison.png into a folder that exists; gives its name."""
    return saved(draw_comparison(comparison), comparison.version, folder / "comparison.png")
