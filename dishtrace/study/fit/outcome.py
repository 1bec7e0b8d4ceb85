"""What is told of the dish that was really built."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import metadata
from typing import Any

from dishtrace.scene.model import Scene
from dishtrace.study.fit.edges import EdgeMatch
from dishtrace.study.fit.findings import Finding, plain
from dishtrace.study.fit.heat_test import HeatTest
from dishtrace.study.fit.power_match import PowerMatch
from dishtrace.study.fit.spot_test import SpotTest


@dataclass(frozen=True, eq=False)
class Fit:
    """What readings say about a dish.

    Parameters
    ----------
    scene : Scene
    rays, seed : int
        Of each trace. [–]
    heat : HeatTest or None
        From the log.
    power : PowerMatch or None
        Which slope errors explain its power.
    spot : SpotTest or None
        From the photograph.
    edge : EdgeMatch or None
        From radii read by hand.
    findings : dict of Finding
        All that was found, by key; ``slope_error_mrad`` is what all of them say together.
    brightness : Finding or None
        Factor on reflectance, cleanliness and absorptance that explains the power at the slope error found.
    stopped : bool
        Whether the user stopped it early; what needs no more traces than were made is there then.
    notes : tuple of str
    """

    scene: Scene
    rays: int
    seed: int
    heat: HeatTest | None
    power: PowerMatch | None
    spot: SpotTest | None
    edge: EdgeMatch | None
    findings: dict[str, Finding]
    stopped: bool
    notes: tuple[str, ...]

    @property
    def version(self) -> str:
        """Of dishtrace."""
        return metadata.version("dishtrace")

    @property
    def shares(self) -> dict[str, dict[str, float]]:
        """Standard error of findings by cause, in the unit of the finding (squared slope errors: mrad2)."""
        tests = (self.heat, self.spot)
        return {key: causes for test in tests if test is not None for key, causes in test.shares.items()}

    def rows(self) -> list[dict[str, Any]]:
        """Tidy rows, one a finding: quantity, unit, value, se, low, high, level, told, remark."""
        return [{"quantity": key, **one.to_dict()} for key, one in self.findings.items()]

    def to_dict(self) -> dict[str, Any]:
        """As in fit.json."""
        return {
            "dishtrace": self.version,
            "scene": self.scene.title,
            "rays": self.rays,
            "seed": self.seed,
            "stopped": self.stopped,
            "findings": {key: one.to_dict() for key, one in self.findings.items()},
            "error_shares": {
                key: {cause: plain(se) for cause, se in causes.items()} for key, causes in self.shares.items()
            },
            "log": None if self.heat is None else _log_object(self.heat),
            "spot": None if self.spot is None else _spot_object(self.spot),
            "power_by_slope": None if self.power is None else _power_object(self.power),
            "notes": list(self.notes),
        }


def _log_object(heat: HeatTest) -> dict[str, Any]:
    return {
        "file": heat.log.name,
        "given": heat.given.to_dict(),
        "readings": len(heat.heat_c),
        "readings_used": sum(len(one) for one in heat.judged.stretches),
        "stretches": len(heat.judged.stretches),
        "noise_k": heat.fit.noise_k,
        "dni_w_m2": {"value": heat.dni_w_m2.value, "sd": heat.dni_w_m2.sd},
        "net_power_at_c": heat.middle_c,
    }


def _spot_object(test: SpotTest) -> dict[str, Any]:
    return {
        "file": test.photo.name,
        "tone": test.photo.tone,
        "scale": test.scale.kind,
        "overexposed_share": test.patch.full_share,
        "misfit": None if test.match is None else plain(test.match.misfit),
    }


def _power_object(match: PowerMatch) -> list[dict[str, float]]:
    rows = zip(match.slopes_mrad, match.traced_w, match.traced_se_w, strict=True)
    return [{"slope_error_mrad": float(s), "receiver_w": {"value": float(w), "se": float(e)}} for s, w, e in rows]
