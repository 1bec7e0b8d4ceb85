"""Works out everything that the making documents show, before a file is written."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.facets import Facets
from dishtrace.dish.layouts import designed_facets, fits_of, whole_facets
from dishtrace.dish.outline import Outline, outline_of
from dishtrace.errors import COMMAND_LINE, Fault, InputError
from dishtrace.report.making.aligning import Marks, marks_of
from dishtrace.report.making.cutting import Kind, kinds_of
from dishtrace.report.making.frame import Frame, frame_of
from dishtrace.report.making.moulds import Mould, moulds_of
from dishtrace.report.making.nesting import Nest, nest, too_large
from dishtrace.report.making.ribs import Rib, Section, rib_of
from dishtrace.scene.uncertain import nominal

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene

COMMON_SHEET_M = (1.25, 2.5)
"""Sheet that is taken when nobody names one: a size that dealers keep (common practice, no source) [m]."""


@dataclass(frozen=True)
class Wishes:
    """What to make.

    Parameters
    ----------
    sections : tuple of Section or None
        Where ribs are cut; None: one of a dish about its axis, two of any other.
    paper : str
        Of the PDF files: "a4" or "letter".
    sheet : tuple of float or None
        Sides of the sheets to cut from; None: 1.25 x 2.5 m. [m]
    board : float or None
        Place of the target board along the dish axis, from the focus; None: at the focus in sunlight, at the lamp in
        its light. [m]
    lamp : tuple of float or None
        Place of a lamp, from the focus; None: on the axis, two focal lengths from the vertex. [m]
    """

    sections: tuple[Section, ...] | None = None
    paper: str = "a4"
    sheet: tuple[float, float] | None = None
    board: float | None = None
    lamp: tuple[float, float, float] | None = None


@dataclass(frozen=True, eq=False)
class Making:
    """Everything that the documents show.

    Parameters
    ----------
    title : str
        Of the scene.
    focal_length : float
        Focal length f. [m]
    outline : Outline
        Of the dish.
    mirror : Facets
        As designed: the errors of one dish are left out, and so are its missing facets.
    is_skin : bool
        Whether it is one continuous paraboloid.
    frame : Frame
        The flat frame.
    ribs : tuple of Rib
        Sections.
    kinds : tuple of Kind
        What is cut from flat sheet.
    curved : tuple of int
        Numbers of facets that cannot be.
    nest : Nest or None
        Where the pieces lie; None when nothing is cut, or no common sheet holds a piece.
    moulds : tuple of Mould
        For the facets that cannot be cut.
    boards : tuple of Marks
        Targets for aligning; none for one skin.
    notes : tuple of str
        What the user should know.
    """

    title: str
    focal_length: float
    outline: Outline
    mirror: Facets
    is_skin: bool
    frame: Frame
    ribs: tuple[Rib, ...]
    kinds: tuple[Kind, ...]
    curved: tuple[int, ...]
    nest: Nest | None
    moulds: tuple[Mould, ...]
    boards: tuple[Marks, ...]
    notes: tuple[str, ...]


def gather(scene: Scene, wishes: Wishes) -> Making:
    """Work out the making documents of a scene.

    Parameters
    ----------
    scene : Scene
        As read.
    wishes : Wishes
        What to make.

    Returns
    -------
    Making

    Raises
    ------
    InputError
        If a section passes outside the dish, a piece is larger than the sheet named, no facet throws its light on the
        board, or the mirror itself is at fault.
    """
    outline, focal_length = outline_of(scene), nominal(scene.dish.focal_length_m)
    is_skin = scene.dish.facets is None
    fits = fits_of(scene, outline)
    mirror = designed_facets(scene, outline, fits=fits)
    notes: list[str] = []
    if not is_skin:
        built = whole_facets(scene, outline, fits=fits)
        n_missing = len(mirror) - len(built)
        mirror = mirror.taken(np.flatnonzero(np.isin(mirror.number, built.number)))
        if n_missing:
            notes.append(f"Facets that the scene calls missing ({n_missing}) are left out of all documents.")
    frame = frame_of(outline, mirror, focal_length=focal_length)
    ribs = _ribs(wishes, frame, outline, None if is_skin else mirror, focal_length)
    kinds, curved = ((), ()) if is_skin else kinds_of(mirror)
    laid = _nest(kinds, wishes, notes)
    boards = () if is_skin else _boards(mirror, wishes, focal_length, notes)
    notes += _notes(is_skin, curved, kinds, is_flexed=scene.mount.kind == "stationary-focus")
    if fits.facets:
        notes.append(
            "Measured facets are shown by the one quadric that touches their fit at the middle; their mould curves are "
            "those of what was measured, not of a mirror to aim for."
        )
    return Making(
        title=scene.title or "untitled",
        focal_length=focal_length,
        outline=outline,
        mirror=mirror,
        is_skin=is_skin,
        frame=frame,
        ribs=ribs,
        kinds=kinds,
        curved=curved,
        nest=laid,
        moulds=() if is_skin else moulds_of(mirror),
        boards=boards,
        notes=tuple(notes),
    )


def _ribs(
    wishes: Wishes, frame: Frame, outline: Outline, facets: Facets | None, focal_length: float
) -> tuple[Rib, ...]:
    sections = wishes.sections
    if not sections:
        sections = (Section(0.0),) if outline.is_centred_circle else (Section(0.0), Section(90.0))
    ribs = [rib_of(section, frame, outline, facets, focal_length=focal_length) for section in sections]
    outside = [rib.section for rib in ribs if not rib.stretches]
    if outside:
        raise InputError(
            [
                Fault(
                    COMMAND_LINE,
                    "--section",
                    section.name,
                    "passes outside the dish",
                    "the offset after @ is counted from the middle of the outline, in metres",
                )
                for section in outside
            ]
        )
    return tuple(ribs)


def _nest(kinds: tuple[Kind, ...], wishes: Wishes, notes: list[str]) -> Nest | None:
    if not kinds:
        return None
    sheet = wishes.sheet or COMMON_SHEET_M
    large = too_large(kinds, sheet)
    if large and wishes.sheet is not None:
        raise InputError([_sheet_fault(kind, size, sheet) for kind, size in large])
    if large:
        kind, size = large[0]
        notes.append(
            f"No sheet of the common {sheet[0]:g} x {sheet[1]:g} m holds the piece of facet {kind.numbers[0]} "
            f"({size[0]:.3f} x {size[1]:.3f} m), so nothing is laid out: name a sheet you can buy with --sheet."
        )
        return None
    if wishes.sheet is None:
        notes.append(f"Sheets of {sheet[0]:g} x {sheet[1]:g} m are assumed (common practice): name yours with --sheet.")
    return nest(kinds, sheet)


def _sheet_fault(kind: Kind, size: np.ndarray, sheet: tuple[float, float]) -> Fault:
    return Fault(
        COMMAND_LINE,
        "--sheet",
        f"{sheet[0]:g}x{sheet[1]:g}",
        f"is smaller than the piece of facet {kind.numbers[0]}, {size[0]:.4f} x {size[1]:.4f} m",
        "name a larger sheet, or make smaller facets",
    )


def _boards(mirror: Facets, wishes: Wishes, focal_length: float, notes: list[str]) -> tuple[Marks, ...]:
    """Target boards: in sunlight, then in a lamp's light."""
    lamp = np.array(wishes.lamp if wishes.lamp is not None else (0.0, 0.0, focal_length))
    lamp = lamp + [0.0, 0.0, focal_length]
    places = [(None, 0.0), (lamp, lamp[2] - focal_length)]
    found = []
    for light, usual in places:
        offset = usual if wishes.board is None else wishes.board
        marks = marks_of(mirror, board_z=float(focal_length + offset), lamp=light)
        beside = marks.number[~marks.is_reached].tolist()
        word = "sunlight" if light is None else "the lamp's light"
        if not marks.is_reached.any():
            notes.append(f"No facet throws {word} on the board, so it has no target sheet: move the board.")
        elif beside:
            notes.append(f"{len(beside)} facets throw {word} past the board; their rows in aligning.csv are empty.")
        found.append(marks)
    return tuple(found)


def _notes(is_skin: bool, curved: tuple[int, ...], kinds: tuple[Kind, ...], *, is_flexed: bool) -> list[str]:
    notes = []
    if is_skin:
        notes.append(
            "The mirror is one continuous skin, which no flat sheet can be cut for: there is no cut pattern, no shims "
            "and no target. The rib profiles and the plan are its template; film or panels laid on it need more than "
            "the mirror area. Give the scene [dish.facets] for a mirror made of pieces."
        )
    if curved:
        what = "No facet" if not kinds else f"{len(curved)} facets"
        verb = "can be" if not kinds else "cannot be"
        notes.append(
            f"{what} {verb} unrolled flat without stretching, being hollow in two directions: their mould curves are "
            "given instead, and sheets to buy are not worked out for them."
        )
    if any(not kind.pattern.bend.is_flat for kind in kinds):
        notes.append(
            "Bent pieces need holding between their corners, too: rib-facets.csv has their heights over every rib; ask "
            "for more ribs with --section."
        )
    if is_flexed:
        notes.append("A mirror that is flexed through the year is shown as it stands at equinox.")
    notes.append(
        "All heights and curves are those of the reflecting surface: take off the thickness of mirror, glue and pads "
        "below it."
    )
    return notes
