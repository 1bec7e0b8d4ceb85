"""The command `fit`: what a heating log, a photograph of the spot or radii by hand say about the dish."""

from __future__ import annotations

import re
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dishtrace.cli.ending import hand_over
from dishtrace.cli.exits import told
from dishtrace.cli.files import load, results_folder
from dishtrace.cli.options import AsJson, Quiet, Rays, SceneFile, Seed, Threads, check_numbers, folder_option
from dishtrace.cli.printing import print_lines
from dishtrace.cli.progress import watched
from dishtrace.errors import COMMAND_LINE, Fault, InputError

if TYPE_CHECKING:
    from dishtrace.study.fit import Fit

FIT_HELP = """Tell what a heating log, a photo of the spot or radii by hand say.

Traces the scene at several slope errors with the same random points and tells
slope error, pointing, power, losses and efficiency with 95 % intervals, or
that the readings cannot tell. Ctrl-C keeps what needs no more tracing.

\b
Example:
  dishtrace fit yard.toml --log heating.csv
  dishtrace fit yard.toml --spot photo.png --scale "120,340 880,352 200 mm"
  dishtrace fit yard.toml --target "31,33,30 mm" --write yard-as-built.toml
"""
_PAIR = re.compile(r"^\s*(-?[0-9.]+)\s*,\s*(-?[0-9.]+)\s*$")
_PLACE = re.compile(r"^\s*(-?[0-9.]+)\s*(?:(?:\+-|\+/-|±)\s*([0-9.]+)\s*)?(mm|cm|m)\s*$")
_SHARES = re.compile(r"^\s*([0-9.]+)\s*(?:-|to)\s*([0-9.]+)\s*%?\s*$")


Log = Annotated[Path | None, typer.Option(metavar="CSV", show_default=False, help="Log of a heating test.")]
Given = Annotated[
    list[str] | None,
    typer.Option(
        metavar="KEY=VALUE", show_default=False, help='Overrides the log: "water_kg=2.5 +- 0.02". Repeatable.'
    ),
]
Spot = Annotated[
    Path | None, typer.Option(metavar="PHOTO", show_default=False, help="Photo of the spot on a flat white target.")
]
Scale = Annotated[
    str | None,
    typer.Option(
        metavar="TEXT",
        show_default=False,
        help='"0.4 mm/px"; two points and their distance "120,340 880,352 200 mm"; or four corners of a rectangle, '
        'clockwise, and its sides: "x,y x,y x,y x,y 200x150 mm".',
    ),
]
Axis = Annotated[
    str | None,
    typer.Option(metavar="X,Y", show_default=False, help="Pixel where the axis meets the target, for pointing."),
]
Tone = Annotated[
    str | None,
    typer.Option(
        metavar="CURVE",
        show_default=False,
        help="srgb, linear, or an exponent (light = code^E). Default: srgb for 8 bits, else linear.",
    ),
]
Behind = Annotated[bool, typer.Option("--behind", help="The camera looked at the target from behind.")]
TurnDeg = Annotated[
    float, typer.Option(metavar="DEG", help="Turn of the photo's up from the dish's y, counter-clockwise as seen.")
]
Offset = Annotated[
    str, typer.Option(metavar="TEXT", help='Place of the target along the axis from the focus: "-3 +- 2 mm".')
]
Target = Annotated[
    str | None,
    typer.Option(metavar="TEXT", show_default=False, help='Radii of the bright patch by hand: "31,33,30 mm".'),
]
Edge = Annotated[str, typer.Option(metavar="TEXT", help="Percent of the peak flux between which its edge is seen.")]
Write = Annotated[
    Path | None,
    typer.Option(metavar="FILE", show_default=False, help="Write a new scene with the values found."),
]


def fit_command(
    scene: SceneFile,
    log: Log = None,
    given: Given = None,
    spot: Spot = None,
    scale: Scale = None,
    axis: Axis = None,
    tone: Tone = None,
    behind: Behind = False,
    turn_deg: TurnDeg = 0.0,
    offset: Offset = "0 mm",
    target: Target = None,
    edge: Edge = "10-50",
    write: Write = None,
    rays: Rays = None,
    seed: Seed = None,
    threads: Threads = None,
    out: Annotated[Path | None, folder_option("fit")] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Evaluate readings, print and write what they say."""
    with told(as_json):
        check_numbers(rays=rays, seed=seed, threads=threads)
        texts = _texts(given or [], axis, offset, edge)
        from dishtrace.report.fit import fit_text, write_fit
        from dishtrace.report.pictures.fit import write_fit_pictures
        from dishtrace.study.fit import fit

        described = load(scene)
        folder = results_folder(scene, out, as_json, below="fit")
        found = watched(
            fit,
            described,
            quiet=quiet,
            **{"log": log, "spot": spot, "target": target, "scale": scale, "tone": tone, "turn_deg": turn_deg},
            **{"is_seen_from_mirror": not behind, "rays": rays, "seed": seed, "threads": threads, **texts},
        )
        hand_over(
            as_object=found.to_dict,
            text_for=lambda signs: fit_text(found, signs),
            writers=[lambda place: write_fit(found, place), lambda place: write_fit_pictures(found, place)],
            folder=folder,
            as_json=as_json,
            quiet=quiet,
            stopped=found.stopped,
        )
        if write is not None:
            _write_new(found, write, is_told=not (as_json or quiet))


def _texts(given: list[str], axis: str | None, offset: str, edge: str) -> dict[str, Any]:
    """Options that are texts, as the study takes them; all faults at once."""
    faults = []
    pairs = [one.partition("=") for one in given]
    for key, sign, _ in pairs:
        if not sign:
            faults.append(Fault(COMMAND_LINE, "--given", key, "must be KEY=VALUE", "for instance water_kg=2.5"))
    point = _PAIR.match(axis) if axis is not None else None
    if axis is not None and point is None:
        faults.append(Fault(COMMAND_LINE, "--axis", axis, "must be a column and a row of the photo: 812,604"))
    place = _PLACE.match(offset)
    if place is None:
        faults.append(Fault(COMMAND_LINE, "--offset", offset, 'must be a length with its unit: "-3 mm", "0 +- 2 mm"'))
    shares = _SHARES.match(edge)
    ends = tuple(float(one) / 100.0 for one in shares.groups()) if shares else (0.0, 0.0)
    if not 0.0 < ends[0] <= ends[1] < 1.0:
        faults.append(Fault(COMMAND_LINE, "--edge", edge, "must be two rising percentages, for instance 10-50"))
    if faults:
        raise InputError(faults)
    unit = {"mm": 1e-3, "cm": 1e-2, "m": 1.0}[place.group(3)]
    return {
        "given": {key.strip(): value.strip() for key, _, value in pairs},
        "axis_px": None if point is None else (float(point.group(1)), float(point.group(2))),
        "offset_m": (float(place.group(1)) * unit, float(place.group(2) or 0.0) * unit),
        "edge": ends,
    }


def _write_new(found: Fit, path: Path, *, is_told: bool) -> None:
    from dishtrace.study.fit.rewrite import write_scene

    keys = write_scene(found, path)
    if is_told:
        print_lines(textwrap.wrap(f"New scene {path}: {', '.join(keys)}", 80, break_on_hyphens=False))
