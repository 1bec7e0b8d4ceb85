"""What `dishtrace build` does: reads what to make, works the documents out, writes and describes them."""

from __future__ import annotations

import re
import textwrap
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from dishtrace.errors import COMMAND_LINE, Fault, InputError, RunError
from dishtrace.report.cautions import making_cautions
from dishtrace.report.making.files import write_documents
from dishtrace.report.making.frame import corners
from dishtrace.report.making.gather import Making, Wishes, gather
from dishtrace.report.making.ribs import Section
from dishtrace.report.making.sketch import facets_named, plain_text
from dishtrace.report.making.tiling import PAPERS

if TYPE_CHECKING:
    from dishtrace.scene.model import Scene

WIDTH = 80
LARGEST_M = 100.0
"""Largest length that an option may name [m]."""


def build(scene: Scene, folder: Path | None = None, wishes: Wishes | None = None) -> dict[str, Any]:
    """Make the making documents of a scene.

    Parameters
    ----------
    scene : Scene
        As read.
    folder : Path, optional
        Where to write, made before; left out: nothing is written.
    wishes : Wishes, optional
        Sections, paper, sheet, target board and lamp.

    Returns
    -------
    dict
        Figures, files and notes, ready for JSON; units stand in the keys.

    Raises
    ------
    InputError
        If scene or wishes cannot be fulfilled.
    RunError
        If a file cannot be written.
    """
    import dishtrace

    wishes = wishes or Wishes()
    making = gather(scene, wishes)
    names, left_out = [], []
    if folder is not None:
        try:
            names, left_out = write_documents(making, folder, paper=wishes.paper, version=dishtrace.__version__)
        except OSError as error:
            raise RunError(
                f"{folder}: writing failed: {error.strerror or error}; what was written before is kept"
            ) from error
    return {
        "dishtrace": dishtrace.__version__,
        "scene": scene.title,
        **figures(making),
        "paper": wishes.paper,
        "files": names,
        "notes": [*making.notes, *left_out],
        "cautions": [asdict(caution) for caution in making_cautions()],
    }


def figures(making: Making) -> dict[str, Any]:
    """The numbers of the documents, lengths in metres, areas in square metres."""
    mirror, frame = making.mirror, making.frame
    heights = [frame.places(mirror.surface(i, corners(mirror.outlines[i]))[0])[:, 2] for i in range(len(mirror))]
    heights = np.concatenate(heights)
    return {
        "dish": {
            "focal_length_m": making.focal_length,
            "outline_m2": making.outline.area,
            "aperture_m2": float(mirror.aperture_areas().sum()),
            "mirror_m2": float(mirror.surface_areas().sum()),
            "facets": 0 if making.is_skin else len(mirror),
        },
        "frame": {"tilt_deg": float(np.degrees(frame.tilt)), "origin_m": frame.origin.tolist()},
        "shims_m": None if making.is_skin else {"lowest": float(heights.min()), "highest": float(heights.max())},
        "cutting": _cutting(making),
        "moulds": [{"name": mould.name, "facets": list(mould.numbers)} for mould in making.moulds],
        "sections": [
            {
                "angle_deg": rib.section.angle_deg,
                "offset_m": rib.section.offset_m,
                "from_m": float(rib.stretches[0][0, 0]),
                "to_m": float(rib.stretches[-1][-1, 0]),
                "curve_m": rib.length(),
                "highest_m": float(max(chain[:, 1].max() for chain in rib.stretches)),
            }
            for rib in making.ribs
        ],
        "aligning": [
            {
                "light": marks.name,
                "lamp_m": None if marks.lamp is None else marks.lamp.tolist(),
                "board_m": marks.board_z,
                "facets_on_board": int(marks.is_reached.sum()),
            }
            for marks in making.boards
        ],
    }


def _cutting(making: Making) -> dict[str, Any] | None:
    if making.is_skin:
        return None
    kinds = [
        {
            "letter": kind.letter,
            "pieces": len(kind.numbers),
            "facets": list(kind.numbers),
            "width_m": float(np.ptp(kind.pattern.rings[0][:, 0])),
            "height_m": float(np.ptp(kind.pattern.rings[0][:, 1])),
            "area_m2": kind.pattern.area,
            "bend_radius_m": None if kind.pattern.bend.is_flat else kind.pattern.bend.radius(),
        }
        for kind in making.kinds
    ]
    nest = making.nest
    return {
        "piece_m2": float(sum(kind["area_m2"] * kind["pieces"] for kind in kinds)),
        "sheet_m": None if nest is None else list(nest.sheet),
        "sheets": None if nest is None else nest.n_sheets,
        "to_buy_m2": None if nest is None else nest.bought,
        "offcut_share": None if nest is None else nest.offcut_share,
        "kinds": kinds,
        "not_unrolled": list(making.curved),
    }


def build_lines(facts: dict[str, Any], folder: Path | None) -> list[str]:
    """What was made, as lines of at most 80 columns.

    Parameters
    ----------
    facts : dict
        From `build`.
    folder : Path or None
        Where the files are.
    """
    dish = facts["dish"]
    lines = textwrap.wrap(plain_text(facts["scene"] or "untitled"), WIDTH)
    pieces = f"{dish['facets']} facets" if dish["facets"] else "one skin"
    seen = f"{dish['aperture_m2']:.4f} m2 seen along the axis"
    lines.append(f"  mirror    {dish['mirror_m2']:.4f} m2 in {pieces}, {seen}")
    lines += _frame_lines(facts) + _cutting_lines(facts["cutting"])
    for section in facts["sections"]:
        name = Section(section["angle_deg"], section["offset_m"]).name
        lines.append(
            f"  rib       at {name}: {1e3 * section['curve_m']:.1f} mm along the curve, "
            f"{1e3 * section['highest_m']:.1f} mm high"
        )
    for board in facts["aligning"]:
        light = "in sunlight" if board["lamp_m"] is None else "in a lamp's light"
        lines.append(
            f"  target    {1e3 * board['board_m']:.1f} mm from the vertex, {light}: {board['facets_on_board']} facets"
        )
    for note in facts["notes"]:
        lines += textwrap.wrap(note, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    lines.append("")
    for caution in facts["cautions"]:
        lines += textwrap.wrap(
            f"{caution['topic']}: {caution['text']}", WIDTH, initial_indent="  ! ", subsequent_indent="    "
        )
    if folder is not None:
        listed = f"Written to {folder}: " + ", ".join(facts["files"])
        lines += ["", *textwrap.wrap(listed, WIDTH, break_on_hyphens=False, break_long_words=False)]
    return lines


def _frame_lines(facts: dict[str, Any]) -> list[str]:
    tilt = facts["frame"]["tilt_deg"]
    words = "square to the axis" if tilt < 1e-6 else f"tilted {tilt:.3f} deg from square to the axis"
    shims = facts["shims_m"]
    if shims is None:
        return [f"  frame     flat, {words}"]
    return [
        f"  frame     flat, {words}",
        f"            corners stand {1e3 * shims['lowest']:.1f} to {1e3 * shims['highest']:.1f} mm over it",
    ]


def _cutting_lines(cutting: dict[str, Any] | None) -> list[str]:
    if cutting is None:
        return []
    lines = []
    for kind in cutting["kinds"][:6]:
        size = f"{1e3 * kind['width_m']:.1f} x {1e3 * kind['height_m']:.1f} mm"
        lines += textwrap.wrap(
            f"piece {kind['letter']}   {kind['pieces']} of {size}, {facets_named(kind['facets'])}",
            WIDTH,
            initial_indent="  ",
            subsequent_indent="            ",
        )[:3]
    if len(cutting["kinds"]) > 6:
        lines.append(f"            and {len(cutting['kinds']) - 6} more kinds of pieces")
    if cutting["sheets"]:
        width, height = cutting["sheet_m"]
        sheets = "1 sheet" if cutting["sheets"] == 1 else f"{cutting['sheets']} sheets"
        lines.append(
            f"  to buy    {cutting['to_buy_m2']:.3f} m2 in {sheets} of {width:g} x {height:g} m, "
            f"{100.0 * cutting['offcut_share']:.1f} % offcut"
        )
    return lines


def wishes_of(*, sections: list[str], paper: str, sheet: str | None, board: float | None, lamp: str | None) -> Wishes:
    """What the user typed as options.

    Parameters
    ----------
    sections : list of str
        "DEG" or "DEG@OFFSET", the offset in metres.
    paper : str
        "a4" or "letter".
    sheet : str or None
        "WxH" in metres.
    board : float or None
        In metres from the focus.
    lamp : str or None
        "X,Y,Z" in metres from the focus.

    Raises
    ------
    InputError
        With every option that cannot be understood.
    """
    faults: list[Fault] = []

    def numbers(key: str, text: str, separator: str, allowed: str, counts: tuple[int, ...]) -> list[float]:
        pieces = re.split(separator, text.strip().lower())
        try:
            values = [float(piece) for piece in pieces]
        except ValueError:
            values = []
        if len(values) not in counts or not np.all(np.isfinite(values)):
            faults.append(Fault(COMMAND_LINE, key, text, f"must be {allowed}"))
            return []
        return values

    cuts = [numbers("--section", text, "@", "degrees, or degrees@metres: 30 or 90@0.25", (1, 2)) for text in sections]
    sides = numbers("--sheet", sheet, "x", "two lengths in metres: 1.25x2.5", (2,)) if sheet is not None else []
    lamps = "three lengths in metres from the focus: 0,0,2"
    place = numbers("--lamp", lamp, ",", lamps, (3,)) if lamp is not None else []
    if sides and not all(0.0 < side <= LARGEST_M for side in sides):
        faults.append(Fault(COMMAND_LINE, "--sheet", str(sheet), f"must be above 0 and up to {LARGEST_M:g} metres"))
    if paper.lower() not in PAPERS:
        faults.append(Fault(COMMAND_LINE, "--paper", paper, f"must be {' or '.join(PAPERS)}"))
    if board is not None and not abs(board) <= LARGEST_M:
        faults.append(Fault(COMMAND_LINE, "--board", f"{board:g}", f"must be within {LARGEST_M:g} metres"))
    if faults:
        raise InputError(faults)
    return Wishes(
        sections=tuple(Section(*cut) for cut in cuts) or None,
        paper=paper.lower(),
        sheet=(sides[0], sides[1]) if sides else None,
        board=board,
        lamp=(place[0], place[1], place[2]) if place else None,
    )
