"""What is told of a part at many sizes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dishtrace.scene.model import Scene
from dishtrace.stats import Estimate
from dishtrace.study.size.best import Best, Grid
from dishtrace.study.size.knobs import Knob
from dishtrace.study.size.trial import Trial


@dataclass(frozen=True, eq=False)
class Sizing:
    """What sizes of a part catch and lose.

    Parameters
    ----------
    scene : Scene
    part : str
        Its name.
    knobs : tuple of Knob
        What was varied, one or two things.
    temperatures_c : tuple of float
        Working temperatures; the first is the one that is recommended for. [degC]
    trials : tuple of Trial
        Sizes that were traced, in the order of their values.
    grid : Grid or None
        The same on a full grid; None where an early stop left too few.
    bests : tuple of Best
        For each temperature; empty without a grid or a known emittance.
    captures : dict
        By share: smallest value of the first thing varied and what else holds there; None where it is not reached.
    rays, seed : int
        Of each trace. [–]
    version : str
        Of dishtrace.
    stopped : bool
        Whether the user stopped it early.
    notes : tuple of str
    """

    scene: Scene
    part: str
    knobs: tuple[Knob, ...]
    temperatures_c: tuple[float, ...]
    trials: tuple[Trial, ...]
    grid: Grid | None
    bests: tuple[Best, ...]
    captures: dict[float, tuple[Estimate, dict[str, Estimate]] | None]
    rays: int
    seed: int
    version: str
    stopped: bool
    notes: tuple[str, ...]

    @property
    def best(self) -> Best | None:
        """The best size at the working temperature that is recommended for."""
        return self.bests[0] if self.bests else None

    def rows(self) -> list[dict[str, Any]]:
        """The tidy table: one row a size; each estimate beside its error (`..._se`), None where unknown."""
        rows = []
        for trial in self.trials:
            row: dict[str, Any] = {unit_key(name): value for name, value in trial.values.items()}
            row["area_m2"] = trial.area_m2
            told = {
                "share": trial.share,
                "caught_w": trial.caught_w,
                "absorbed_w": trial.absorbed_w,
                "peak_w_m2": trial.peak_w_m2,
                **{f"others_w.{name}": one for name, one in trial.others_w.items()},
                "missed_w": trial.missed_w,
                "shaded_w": trial.shaded_w,
            }
            for number, temperature in enumerate(self.temperatures_c if trial.heat else ()):
                row[f"loss_w.{temperature:g}_c"] = float(trial.heat.losses_w[number])
                told[f"net_w.{temperature:g}_c"] = trial.net_w(number)
            for key, estimate in told.items():
                row |= estimate.columns(key)
            rows.append(row)
        return rows

    def to_dict(self) -> dict[str, Any]:
        """As in size.json."""
        return {
            "dishtrace": self.version,
            "scene": self.scene.title,
            "part": self.part,
            "rays": self.rays,
            "seed": self.seed,
            "stopped": self.stopped,
            "varied": [
                {"name": knob.name, "low": knob.low, "high": knob.high, "steps": knob.steps} for knob in self.knobs
            ],
            "recommended_for_c": self.temperatures_c[0],
            "best": [best.to_dict() for best in self.bests],
            "smallest": [
                {"share": share, "size": None, "figures": None}
                if found is None
                else {
                    "share": share,
                    "size": found[0].to_dict(),
                    "figures": {key: figure.to_dict() for key, figure in found[1].items()},
                }
                for share, found in self.captures.items()
            ],
            "sizes": self.rows(),
            "notes": list(self.notes),
        }


def unit_key(name: str) -> str:
    """What is varied, with its unit."""
    return name if name == "scale" else f"{name}_m"
