"""Ray tracing of the focal spot of parabolic solar dishes, for people who build them.

Public names: `load_scene` (a scene file as a `Scene`), `trace` (a scene to a `Result`), `flux_at` (the flux at points),
`compare` (scenes and their variants to a `Comparison`), `heat` (a scene to a `HeatResult`), `size`, `sweep`, `improve`,
`day`, `year`, `fit`, the classes of these results and `Scene`, the errors `InputError` and `RunError`, and
`__version__`. They are fetched on first use, so that importing the package, and with it the command's help, stays fast.
"""

from __future__ import annotations

from importlib import import_module
from types import ModuleType
from typing import Any

import dishtrace.heat
import dishtrace.trace

__all__ = [
    "Comparison",
    "Day",
    "Fit",
    "HeatResult",
    "Improvement",
    "InputError",
    "Result",
    "RunError",
    "Scene",
    "Sizing",
    "Sweep",
    "__version__",
    "compare",
    "day",
    "fit",
    "flux_at",
    "heat",
    "improve",
    "load_scene",
    "size",
    "sweep",
    "trace",
    "year",
]

_HOMES = {
    "Comparison": "dishtrace.study.comparison",
    "Day": "dishtrace.study.day",
    "Fit": "dishtrace.study.fit",
    "HeatResult": "dishtrace.heat.outcome",
    "Improvement": "dishtrace.study.improve",
    "InputError": "dishtrace.errors",
    "Result": "dishtrace.flux.result",
    "RunError": "dishtrace.errors",
    "Scene": "dishtrace.scene.model",
    "Sizing": "dishtrace.study.size",
    "Sweep": "dishtrace.study.sweep",
    "compare": "dishtrace.study.compare",
    "day": "dishtrace.study.day",
    "fit": "dishtrace.study.fit",
    "flux_at": "dishtrace.flux.point",
    "improve": "dishtrace.study.improve",
    "load_scene": "dishtrace.scene.read",
    "size": "dishtrace.study.size",
    "sweep": "dishtrace.study.sweep",
    "year": "dishtrace.study.day",
}


class _TracerFolder(ModuleType):
    """The folder `dishtrace.trace`, which can be called: the tracer's code and `dt.trace(scene)` share one name."""

    def __call__(self, scene: Any, **options: Any) -> Any:
        """Trace a scene; takes and returns what `dishtrace.flux.measure.trace` does."""
        from dishtrace.flux.measure import trace as run

        return run(scene, **options)


dishtrace.trace.__class__ = _TracerFolder
trace = dishtrace.trace


class _HeatFolder(ModuleType):
    """The folder `dishtrace.heat`, which can be called like `dishtrace.trace`."""

    def __call__(self, scene: Any, **options: Any) -> Any:
        """How hot a scene's parts get; takes and returns what `dishtrace.heat.run.heat` does."""
        from dishtrace.heat.run import heat as run

        return run(scene, **options)


dishtrace.heat.__class__ = _HeatFolder
heat = dishtrace.heat


def _version() -> str:
    """Version of the installed package; "0+source" when run from a folder that is not installed."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("dishtrace")
    except PackageNotFoundError:
        return "0+source"


def __getattr__(name: str) -> Any:
    if name == "__version__":
        return _version()
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'dishtrace' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
