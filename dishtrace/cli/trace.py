"""The command `trace`: one scene, its summary, tables and pictures, or the paths of single rays."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

import dishtrace
from dishtrace.cli.exits import STOPPED, told
from dishtrace.cli.files import load, results_folder
from dishtrace.cli.options import (
    AsJson,
    Quiet,
    Rays,
    SceneFile,
    Seconds,
    Seed,
    Threads,
    Until,
    as_options,
    count_option,
)
from dishtrace.cli.printing import print_json, print_lines, print_text
from dishtrace.cli.progress import watched
from dishtrace.errors import COMMAND_LINE, Fault, InputError, RunError
from dishtrace.report.painter import Painter

if TYPE_CHECKING:
    from dishtrace.flux.result import Result
    from dishtrace.flux.sketch import Sketch
    from dishtrace.scene.model import Scene
    from dishtrace.study.drift import Drift

TRACE_HELP = """Trace a scene; print where the light goes; write tables and pictures.

Ctrl-C stops after the unit of work at hand and keeps what was traced.

\b
Example:
  dishtrace trace scenes/schoolyard-pot.toml
  dishtrace trace yard.toml --rays 4e6 --seed 7 --out results/second-try
  dishtrace trace yard.toml --until "receiver 0.1%"
  dishtrace trace yard.toml --json > yard.json
"""


Out = Annotated[
    Path | None,
    typer.Option(
        metavar="DIR",
        show_default=False,
        help="Results folder; made when missing, what an earlier trace wrote there is replaced. Default: results/ "
        "and the scene file's name, below the current folder; with --json no folder is written unless it is named.",
    ),
]
FirstRay = Annotated[
    int | None,
    count_option(
        "Instead of a run, print the path of ray I, or of N rays from I on with --rays N; "
        "takes --seed and --json only.",
        metavar="I",
        example="0 or 81919",
    ),
]


def trace_command(
    scene: SceneFile,
    rays: Rays = None,
    seed: Seed = None,
    threads: Threads = None,
    until: Until = None,
    seconds: Seconds = None,
    out: Out = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
    first_ray: FirstRay = None,
) -> None:
    """Trace a scene, print and write what was found; or print the paths of single rays."""
    options = {"rays": rays, "seed": seed, "threads": threads, "until": until, "seconds": seconds}
    with told(as_json):
        if first_ray is None:
            _run(scene, out, as_json=as_json, quiet=quiet, **options)
            return
        given = {"--threads": threads, "--until": until, "--seconds": seconds, "--out": out, "--quiet": quiet or None}
        _refuse_beside_first_ray([name for name, value in given.items() if value is not None])
        _replay(load(scene), seed, first_ray, rays, as_json)


def _run(scene: Path, out: Path | None, *, as_json: bool, quiet: bool, **options: Any) -> None:
    """Trace a scene, print and write what was found."""
    with Painter(is_wanted=out is not None or not as_json) as painter:
        described = load(scene)
        _check(described, **options)
        path = results_folder(scene, out, as_json)
        folder = None if path is None else _Folder(path, painter)
        told_of = {} if folder is None else {"placed": folder.placed, "rays_traced": folder.rays_traced}
        result = _traced(described, quiet=quiet, **options, **told_of)
        painter.go_on(result)
        drift = _drift(result)
        heat = _heat(result)
        if as_json:
            _print_object(result, drift, heat)
        elif not quiet:
            _print_summary(result, drift, heat)
        if folder is not None:
            folder.write(result, drift, heat)
            if not (as_json or quiet):
                _print_written(result, folder)
    if result.stopped or (drift is not None and drift.stopped):
        raise typer.Exit(STOPPED)


def _check(scene: Scene, **options: Any) -> None:
    """Refuse options that no trace of the scene can follow, before a folder is made."""
    from dishtrace.flux.asked import asked

    with as_options("trace"):
        asked(scene, **options)


def _traced(scene: Scene, *, quiet: bool, **options: Any) -> Result:
    """Run the tracer with progress on a terminal and word of compiling."""
    from dishtrace.flux.measure import trace

    return watched(trace, scene, quiet=quiet, **options)


def _drift(result: Result) -> Drift | None:
    """When the spot leaves the receiver, for a dish that stands still."""
    if result.scene.mount.kind != "fixed":
        return None
    from dishtrace.study.drift import Drift, leaving_times

    if result.stopped:
        return Drift(notes=("the run was stopped early, so the sun was not followed",), stopped=True)
    return leaving_times(result.scene, seed=result.seed, threads=result.threads)


def _heat(result: Result) -> dict[str, dict]:
    """Temperatures of the parts with nothing drawn off; none where no part's emittance is known."""
    from dishtrace.heat.run import quick_balance

    return quick_balance(result)


def _print_object(result: Result, drift: Drift | None, heat: dict[str, dict]) -> None:
    from dishtrace.report.exports import results_object

    print_json(results_object(result, drift, heat))


def _print_summary(result: Result, drift: Drift | None, heat: dict[str, dict]) -> None:
    from dishtrace.report.tables import summary

    print_text(lambda signs: summary(result, signs, drift, heat))


@contextmanager
def _writing(folder: Path) -> Iterator[None]:
    """Tell what hinders writing in the folder as a failure of the run."""
    try:
        yield
    except OSError as error:
        raise RunError(
            f"{folder}: writing failed: {error.strerror or error}; what was written before is kept"
        ) from error


class _Folder:
    """The results folder of a trace: what an earlier run left there goes, tables and pictures of this one come.

    Attributes
    ----------
    path : Path
    tables, pictures, removed : list of str
        Names of files.
    """

    def __init__(self, path: Path, painter: Painter) -> None:
        self.path, self._painter = path, painter
        self._earlier: frozenset[str] = frozenset()
        self.tables: list[str] = []
        self.pictures: list[str] = []
        self.removed: list[str] = []

    def placed(self, sketch: Sketch) -> None:
        """Begin with the pictures."""
        self._painter.begin(sketch, self.path)

    def rays_traced(self, result: Result) -> None:
        """Remove what an earlier run can have written and this one does not, and go on with the pictures.

        Before results.json is written, since the new one does not tell the earlier names.
        """
        from dishtrace.report.earlier import earlier_files, files_of, remove_stale

        with _writing(self.path):
            self._earlier = earlier_files(self.path)
            self.removed = remove_stale(self.path, self._earlier, files_of(result.to_dict()))
        self._painter.go_on(result)

    def write(self, result: Result, drift: Drift | None, heat: dict[str, dict]) -> None:
        """Write tables and pictures, and remove what came out too dark this time."""
        from dishtrace.report.earlier import remove_stale
        from dishtrace.report.exports import write_tables

        with _writing(self.path):
            self.tables = write_tables(result, self.path, drift, heat)
            self.pictures = self._painter.finish(result, self.path)
            left = remove_stale(self.path, self._earlier, [*self.tables, *self.pictures])
        self.removed = sorted([*self.removed, *left])


def _print_written(result: Result, folder: _Folder) -> None:
    """Say what was written and removed."""
    from dishtrace.report.fluxmap import can_be_mapped

    counts = f"{len(folder.tables)} tables (results.json and csv) and {len(folder.pictures)} pictures: "
    lines = textwrap.wrap(
        f"Written to {folder.path}: {counts}" + ", ".join(folder.pictures), 80, break_on_hyphens=False
    )
    dim = [part.name for part in result.parts.values() if not can_be_mapped(part)]
    if dim:
        lines += textwrap.wrap("Too little mirror light for a flux map on: " + ", ".join(dim), 80)
    if folder.removed:
        text = "Removed, since an earlier run wrote them and this one does not: " + ", ".join(folder.removed)
        lines += textwrap.wrap(text, 80, break_on_hyphens=False)
    print_lines(["", *lines])


def _refuse_beside_first_ray(names: list[str]) -> None:
    """Refuse options that the path of a ray cannot follow."""
    if names:
        allowed = f"cannot be given with {', '.join(names)}: it prints paths, traces no run and writes no folder"
        raise InputError(Fault(COMMAND_LINE, "--first-ray", "", allowed, "leave out one or the other"))


def _replay(scene: Scene, seed: int | None, first: int, number: int | None, as_json: bool) -> None:
    """Print the paths of single rays, place by place."""
    from dishtrace.flux.measure import replay

    seed = scene.run.seed if seed is None else seed
    with as_options("replay"):
        found = replay(scene, seed=seed, first_ray=first, rays=1 if number is None else number)
    paths = ((ray, path.tolist()) for ray, path in enumerate(found, start=first))
    if as_json:
        rays = [{"ray": ray, "path_m": path} for ray, path in paths]
        print_json({"dishtrace": dishtrace.__version__, "scene": scene.title, "seed": seed, "rays": rays})
        return
    for ray, path in paths:
        places = [f"  {x: .9f} {y: .9f} {z: .9f}" for x, y, z in path]
        print_lines([f"ray {ray}, seed {seed}: x, y, z in the dish frame (m)", *places])
