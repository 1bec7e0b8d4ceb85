"""The command `dishtrace`: parses what the user types, calls the package, prints.

Everything heavy is imported inside the commands, so that `--help` and `--version` answer at once.
"""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dishtrace.errors import DishtraceError, Fault, InputError, RunError

if TYPE_CHECKING:
    from dishtrace.flux.result import Result
    from dishtrace.scene.model import Scene
    from dishtrace.study.compare import Comparison

DONE, FAILED, STOPPED = 0, 1, 130

MAIN_HELP = """Trace the focal spot of a parabolic solar dish: where every watt of sunlight goes.

\b
Example:
  dishtrace check scenes/schoolyard-pot.toml
  dishtrace trace scenes/schoolyard-pot.toml

\b
Exit codes: 0 done, 2 something in the input needs a change, 1 the run
failed, 130 stopped by you with what was finished kept.
"""

TRACE_HELP = """Trace a scene; print where the light goes; write tables and pictures.

Ctrl-C stops after the unit of work at hand and keeps what was traced.

\b
Example:
  dishtrace trace scenes/schoolyard-pot.toml
  dishtrace trace yard.toml --rays 4e6 --seed 7 --out results/second-try
  dishtrace trace yard.toml --json > yard.json
"""

CHECK_HELP = """Read a scene with all files that it names, and tell every fault at once.

\b
Example:
  dishtrace check scenes/schoolyard-pot.toml
  dishtrace check --schema > scene.schema.json
"""

BUILD_HELP = """Write the making documents: facet table, shims, plan, cut pattern, ribs, targets.

Drawings are in millimetres at scale 1:1, as DXF and SVG; ribs, patterns and
targets also as PDF pages for any printer, with a map and marks to glue by.

\b
Example:
  dishtrace build scenes/schoolyard-pot.toml
  dishtrace build yard.toml --section 0 --section 90@0.25 --paper letter
  dishtrace build yard.toml --sheet 1.0x2.0 --board -0.1 --lamp 0,0,3
"""

COMPARE_HELP = """Trace scenes and variants with the same random points; tell the differences.

A scene with [[variant]] tables stands first, its variants after it. Every
difference is from the first of all, with its own standard error. Ctrl-C keeps
the traces that are finished.

\b
Example:
  dishtrace compare yard.toml
  dishtrace compare flat-tiles.toml petals.toml film.toml --rays 4e6
  dishtrace compare yard.toml --json > comparison.json
"""

app = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)

SceneFile = Annotated[Path, typer.Argument(metavar="SCENE", help="Scene file (TOML).", show_default=False)]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object and nothing else.")]


def count(text: str) -> int:
    """A whole number as people write it: 500000, 2_000_000, 2e6.

    Raises
    ------
    typer.BadParameter
        If it is none.
    """
    try:
        return int(text)
    except ValueError:
        pass
    try:
        number = float(text)
    except ValueError:
        number = 0.5
    if not number.is_integer() or abs(number) > 1e15:
        raise typer.BadParameter(f"{text!r} is not a whole number, such as 500000 or 2e6")
    return int(number)


Rays = Annotated[
    int | None,
    typer.Option(
        metavar="N",
        parser=count,
        show_default=False,
        help="Rays to trace, rounded up to whole units of work. Default: [run] rays of the scene.",
    ),
]
Seed = Annotated[
    int | None,
    typer.Option(metavar="S", parser=count, show_default=False, help="Seed. Default: [run] seed of the scene."),
]
Threads = Annotated[
    int | None,
    typer.Option(metavar="T", parser=count, show_default=False, help="Threads. Default: one a core."),
]
Quiet = Annotated[bool, typer.Option("--quiet", help="Print nothing but errors.")]


def _print_version(wanted: bool) -> None:
    if wanted:
        print(f"dishtrace {_version()}")
        raise typer.Exit(DONE)


@app.callback(help=MAIN_HELP)
def main(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and leave."),
    ] = False,
) -> None:
    """Trace the focal spot of a parabolic solar dish."""


@app.command(name="trace", help=TRACE_HELP, short_help="Trace a scene: print a summary, write tables and pictures.")
def trace_command(
    scene: SceneFile,
    rays: Rays = None,
    seed: Seed = None,
    threads: Threads = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            show_default=False,
            help="Results folder; made when missing, files in it are replaced. Default: results/ and the scene file's "
            "name, below the current folder; with --json no folder is written unless it is named.",
        ),
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    first_ray: Annotated[
        int | None,
        typer.Option(
            metavar="I",
            parser=count,
            show_default=False,
            help="Instead of a run, print the path of ray I, or of N rays from I on with --rays N; writes no folder.",
        ),
    ] = None,
) -> None:
    """Trace a scene, print and write what was found."""
    with _told(as_json):
        _check_numbers(
            {
                "--rays": (rays, 1),
                "--seed": (seed, 0),
                "--threads": (threads, 1),
                "--first-ray": (first_ray, 0),
            }
        )
        described = _load(scene)
        if first_ray is not None:
            _replay(described, seed, first_ray, rays or 1, as_json)
            return
        folder = _results_folder(scene, out, as_json)
        result = _traced(described, quiet=quiet, rays=rays, seed=seed, threads=threads)
        if as_json:
            _print_json(result.to_dict())
        elif not quiet:
            _print_summary(result)
        if folder is not None:
            _write(result, folder, is_told=not (as_json or quiet))
        if result.stopped:
            raise typer.Exit(STOPPED)


@app.command(name="check", help=CHECK_HELP, short_help="Read a scene and all its files; tell every fault at once.")
def check_command(
    scene: Annotated[
        Path | None, typer.Argument(metavar="SCENE", help="Scene file (TOML).", show_default=False)
    ] = None,
    schema: Annotated[bool, typer.Option("--schema", help="Print the JSON Schema of scene files for editors.")] = False,
    as_json: AsJson = False,
) -> None:
    """Read a scene and tell every fault."""
    with _told(as_json):
        if schema:
            from dishtrace.scene.schema import scene_schema

            _print_json(scene_schema())
            return
        if scene is None:
            raise InputError(Fault("command line", "SCENE", "", "is missing", "name a scene file, or ask for --schema"))
        from dishtrace.report.overview import overview, overview_lines

        facts = overview(_load(scene))
        if as_json:
            _print_json({"dishtrace": _version(), "ok": True, "faults": [], **facts})
        else:
            _print_lines(overview_lines(str(scene), facts))


@app.command(name="build", help=BUILD_HELP, short_help="Write the making documents of a scene's mirror.")
def build_command(
    scene: SceneFile,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            show_default=False,
            help="Folder to write. Default: making below the results folder; with --json none unless it is named.",
        ),
    ] = None,
    section: Annotated[
        list[str] | None,
        typer.Option(
            metavar="DEG[@M]",
            show_default=False,
            help="A rib: direction on the flat frame in degrees, and metres beside the middle. May be repeated.",
        ),
    ] = None,
    paper: Annotated[str, typer.Option(metavar="a4|letter", help="Paper of the PDF files.")] = "a4",
    sheet: Annotated[
        str | None,
        typer.Option(metavar="WxH", show_default=False, help="Sheets to cut from, in metres. Default: 1.25x2.5."),
    ] = None,
    board: Annotated[
        float | None,
        typer.Option(
            metavar="M",
            show_default=False,
            help="Place of the target board on the dish axis, from the focus in metres, towards the sun positive. "
            "Default: at the focus in sunlight, at the lamp in its light.",
        ),
    ] = None,
    lamp: Annotated[
        str | None,
        typer.Option(
            metavar="X,Y,Z",
            show_default=False,
            help="Place of a lamp to align by, from the focus in metres. Default: two focal lengths from the vertex.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Write what a mirror is made by."""
    with _told(as_json):
        from dishtrace.report.build import build, build_lines, wishes_of

        wishes = wishes_of(sections=section or [], paper=paper, sheet=sheet, board=board, lamp=lamp)
        described = _load(scene)
        folder = _results_folder(scene, out, as_json, below="making")
        facts = build(described, folder, wishes)
        if as_json:
            _print_json(facts)
        else:
            _print_lines(build_lines(facts, folder))


@app.command(name="compare", help=COMPARE_HELP, short_help="Trace scenes or variants; tell and draw the differences.")
def compare_command(
    scenes: Annotated[
        list[Path], typer.Argument(metavar="SCENE...", help="Scene files (TOML).", show_default=False)
    ],
    rays: Rays = None,
    seed: Seed = None,
    threads: Threads = None,
    dishes: Annotated[
        int,
        typer.Option(
            metavar="K",
            parser=count,
            help="Dishes to draw where chance sets the facets, N / K rays each, for the scatter between them; 1: none.",
        ),
    ] = 8,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            show_default=False,
            help="Folder to write. Default: comparison below the first scene's results folder; with --json none "
            "unless it is named.",
        ),
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Trace scenes and variants, print and write the differences."""
    with _told(as_json):
        numbers = {"--rays": (rays, 1), "--seed": (seed, 0), "--threads": (threads, 1), "--dishes": (dishes, 1)}
        _check_numbers(numbers)
        from dishtrace.report.comparison import comparison_text
        from dishtrace.study import compare as study

        described = _load_all(scenes)
        folder = _results_folder(scenes[0], out, as_json, below="comparison")
        options = {"rays": rays, "seed": seed, "threads": threads, "dishes": dishes}
        comparison = _watched(study.compare, described, quiet=quiet, **options)
        if as_json:
            _print_json(comparison.to_dict())
        elif not quiet:
            _print_text(lambda signs: comparison_text(comparison, signs))
        if folder is not None:
            _write_comparison(comparison, folder, is_told=not (as_json or quiet))
        if comparison.stopped:
            raise typer.Exit(STOPPED)


def _load_all(paths: list[Path]) -> list[Scene]:
    """The scenes of all files, or the faults of all of them."""
    scenes, faults = [], []
    for path in paths:
        try:
            scenes.append(_load(path))
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(list(dict.fromkeys(faults)))
    return scenes


def _load(path: Path) -> Scene:
    from dishtrace.scene.read import load_scene

    return load_scene(path)


def _results_folder(scene: Path, out: Path | None, as_json: bool, *, below: str = "") -> Path | None:
    """The folder to write, made and tried; None when only JSON is wanted."""
    from dishtrace.report.folder import default_folder, prepare

    if out is None and as_json:
        return None
    return prepare(default_folder(scene) / below if out is None else out)


def _traced(scene: Scene, *, quiet: bool, **options: int | None) -> Result:
    """Run the tracer with progress on a terminal and word of compiling."""
    from dishtrace.flux.measure import trace

    return _watched(trace, scene, quiet=quiet, **options)


def _watched(work: Callable[..., Any], subject: Any, *, quiet: bool, **options: int | None) -> Any:
    """Do long work on a subject with a bar and announcements, or without a word."""
    if quiet:
        return work(subject, **options)
    with _progress() as (progress, announce):
        return work(subject, progress=progress, announce=announce, **options)


@contextmanager
def _progress() -> Iterator[tuple[Callable[[int, int], None] | None, Callable[[str], None]]]:
    """A bar with the time that remains, on standard error when it is a terminal, and a way to say a line there."""
    if not sys.stderr.isatty():
        yield None, lambda text: print(_encodable(text, sys.stderr), file=sys.stderr, flush=True)
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("tracing"),
        BarColumn(),
        TaskProgressColumn(),
        TextColumn("time left"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(file=sys.stderr), transient=True) as bar:
        task = bar.add_task("tracing", total=None)
        yield (
            lambda done, total: bar.update(task, completed=done, total=total),
            lambda text: bar.console.print(text, markup=False, highlight=False),
        )


def _replay(scene: Scene, seed: int | None, first: int, number: int, as_json: bool) -> None:
    """Print the paths of single rays, place by place."""
    from dishtrace.flux.measure import replay

    chosen = scene.run.seed if seed is None else seed
    paths = ((ray, replay(scene, seed=chosen, ray=ray).tolist()) for ray in range(first, first + number))
    if as_json:
        rays = [{"ray": ray, "path_m": path} for ray, path in paths]
        _print_json({"dishtrace": _version(), "scene": scene.title, "seed": chosen, "rays": rays})
        return
    for ray, path in paths:
        places = [f"  {x: .9f} {y: .9f} {z: .9f}" for x, y, z in path]
        _print_lines([f"ray {ray}, seed {chosen}: x, y, z in the dish frame (m)", *places])


def _print_summary(result: Result) -> None:
    from dishtrace.report.tables import summary

    _print_text(lambda signs: summary(result, signs))


def _print_text(text_for: Callable[[Any], Any]) -> None:
    """Print a text made with the signs that the output can carry."""
    from rich.console import Console

    from dishtrace.report.numerals import signs_for

    text = text_for(signs_for(sys.stdout.encoding))
    text.plain = _encodable(text.plain, sys.stdout)
    Console(file=sys.stdout, highlight=False).print(text, soft_wrap=True)


def _write(result: Result, folder: Path, *, is_told: bool) -> None:
    """Write tables and pictures and say where."""
    from dishtrace.report.exports import write_tables
    from dishtrace.report.fluxmap import can_be_mapped
    from dishtrace.report.pictures import draw_all

    try:
        tables = write_tables(result, folder)
        pictures = list(draw_all(result, folder))
    except OSError as error:
        raise RunError(
            f"{folder}: writing failed: {error.strerror or error}; what was written before is kept"
        ) from error
    if is_told:
        listed = f"Written to {folder}: {len(tables)} tables (results.json and csv) and {len(pictures)} pictures: "
        lines = textwrap.wrap(listed + ", ".join(pictures), 80, break_on_hyphens=False)
        dim = [part.name for part in result.parts.values() if not can_be_mapped(part)]
        if dim:
            lines += textwrap.wrap("Too little mirror light for a flux map on: " + ", ".join(dim), 80)
        _print_lines(["", *lines])


def _write_comparison(comparison: Comparison, folder: Path, *, is_told: bool) -> None:
    """Write the tables and the picture of a comparison and say where."""
    from dishtrace.report.comparison import write_comparison
    from dishtrace.report.pictures import write_comparison_picture

    try:
        written = [*write_comparison(comparison, folder), write_comparison_picture(comparison, folder)]
    except OSError as error:
        raise RunError(f"{folder}: writing failed: {error.strerror or error}") from error
    if is_told:
        _print_lines(["", *textwrap.wrap(f"Written to {folder}: {', '.join(written)}", 80, break_on_hyphens=False)])


def _check_numbers(given: dict[str, tuple[int | None, int]]) -> None:
    """Refuse numbers below their least, all at once."""
    faults = [
        Fault("command line", name, str(value), f"must be {least} or more", "")
        for name, (value, least) in given.items()
        if value is not None and value < least
    ]
    if faults:
        raise InputError(faults)


@contextmanager
def _told(as_json: bool) -> Iterator[None]:
    """Turn errors raised on purpose and Ctrl-C into messages and exit codes."""
    try:
        yield
    except DishtraceError as error:
        print(_encodable(f"{_kind(error)}:\n{error}", sys.stderr), file=sys.stderr)
        if as_json:
            _print_json(_error_object(error))
        raise typer.Exit(error.exit_code) from error
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        raise typer.Exit(STOPPED) from None


def _kind(error: DishtraceError) -> str:
    if not isinstance(error, InputError):
        return "the run failed"
    number = len(error.faults)
    return "1 thing needs a change" if number == 1 else f"{number} things need a change"


def _error_object(error: DishtraceError) -> dict[str, Any]:
    from dataclasses import asdict

    faults = [{**asdict(fault), "text": str(fault)} for fault in getattr(error, "faults", ())]
    return {"dishtrace": _version(), "ok": False, "error": str(error), "faults": faults}


def _print_json(value: object) -> None:
    from dishtrace.report.exports import json_text

    print(json_text(value, is_ascii=True))


def _print_lines(lines: Any) -> None:
    for line in lines:
        print(_encodable(line, sys.stdout))


def _encodable(text: str, stream: Any) -> str:
    """The text with what the stream's encoding lacks as question marks."""
    encoding = stream.encoding or "utf-8"
    return text.encode(encoding, "replace").decode(encoding)


def _version() -> str:
    import dishtrace

    return dishtrace.__version__
