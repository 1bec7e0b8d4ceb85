"""The command `dishtrace`: parses what the user types, calls the package, prints.

`app` is the command with all its own commands, one module each. Everything heavy is imported inside the functions, so
that `--help` and `--version` answer at once.
"""

from __future__ import annotations

from typing import Annotated

import typer

import dishtrace
from dishtrace.cli.build import BUILD_HELP, build_command
from dishtrace.cli.check import CHECK_HELP, check_command
from dishtrace.cli.compare import COMPARE_HELP, compare_command
from dishtrace.cli.day import DAY_HELP, day_command
from dishtrace.cli.exits import DONE
from dishtrace.cli.fit import FIT_HELP, fit_command
from dishtrace.cli.heat import HEAT_HELP, heat_command
from dishtrace.cli.improve import IMPROVE_HELP, improve_command
from dishtrace.cli.size import SIZE_HELP, size_command
from dishtrace.cli.start import collect_rarely, end_quickly
from dishtrace.cli.sweep import SWEEP_HELP, sweep_command
from dishtrace.cli.trace import TRACE_HELP, trace_command

__all__ = ["app"]

MAIN_HELP = """Trace the focal spot of a parabolic solar dish: where every watt of sunlight goes.

\b
Example:
  dishtrace check scenes/schoolyard-pot.toml
  dishtrace trace scenes/schoolyard-pot.toml

\b
Exit codes: 0 done, 2 something in the input needs a change, 1 the run
failed, 130 stopped by you with what was finished kept.
"""


def _print_version(wanted: bool) -> None:
    if wanted:
        print(f"dishtrace {dishtrace.__version__}")
        raise typer.Exit(DONE)


def main(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version and leave."),
    ] = False,
) -> None:
    """Trace the focal spot of a parabolic solar dish."""
    collect_rarely()
    end_quickly()


app = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.callback(help=MAIN_HELP)(main)
app.command("trace", help=TRACE_HELP, short_help="Trace a scene: print a summary, write tables and pictures.")(
    trace_command
)
app.command("check", help=CHECK_HELP, short_help="Read a scene and all its files; tell every fault at once.")(
    check_command
)
app.command("build", help=BUILD_HELP, short_help="Write the making documents of a scene's mirror.")(build_command)
app.command("compare", help=COMPARE_HELP, short_help="Trace scenes or variants; tell and draw the differences.")(
    compare_command
)
app.command("day", help=DAY_HELP, short_help="Follow a dish through a day or a year: power, energy, hazards.")(
    day_command
)
app.command("fit", help=FIT_HELP, short_help="Tell what a heating log or a photo of the spot say.")(fit_command)
app.command("heat", help=HEAT_HELP, short_help="Tell how hot parts get, how soon, and what fillings do.")(heat_command)
app.command("size", help=SIZE_HELP, short_help="Tell how large to make a receiver, and where to put it.")(size_command)
app.command("sweep", help=SWEEP_HELP, short_help="Trace a scene over ranges of its keys; tell which matters.")(
    sweep_command
)
app.command("improve", help=IMPROVE_HELP, short_help="Search keys of a scene for the best of a figure.")(
    improve_command
)
