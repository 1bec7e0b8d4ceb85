"""The scene: everything that the user describes, checked once when it is made and never changed."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import (
    ConfigDict,
    Field,
    ModelWrapValidatorHandler,
    PrivateAttr,
    ValidationError,
    ValidationInfo,
    model_validator,
)

from dishtrace.errors import Fault, InputError
from dishtrace.scene.checks import cross_faults, scene_notes
from dishtrace.scene.faults import schema_faults
from dishtrace.scene.lines import KeyPath
from dishtrace.scene.mounts import Mount, TwoAxis
from dishtrace.scene.part import Part
from dishtrace.scene.source import IN_PYTHON, Source
from dishtrace.scene.surroundings import Horizon, Obstacle
from dishtrace.scene.tables import Air, Dish, Run, Screen, Site, Sun, Table
from dishtrace.scene.uncertain import Uncertain, nominal
from dishtrace.scene.variants import Variant, faults_of_variant, source_with, variant_sources

__all__ = ["Part", "Scene", "Uncertain", "nominal"]


class Scene(Table):
    """A dish, what stands at its focus, and the sun.

    Attribute names are the keys of the scene file; arrays of tables are `parts`, `screens`, `obstacles` and
    `variants`. Angles and lengths are kept in the unit of their key.

    Raises
    ------
    InputError
        When made from values that do not describe a scene; it carries every fault.
    """

    model_config = ConfigDict(title="dishtrace scene")

    title: str = Field("untitled", description="What the scene shows; stands over every picture.")
    site: Site | None = Field(None, description="Where the dish stands; only sun position and clear sky need it.")
    sun: Sun = Field(description="Where the sun stands and how bright it is.")
    mount: Mount = Field(TwoAxis(kind="two-axis"), description="How the dish follows the sun.")
    dish: Dish = Field(description="The mirror.")
    parts: tuple[Part, ...] = Field((), alias="part", description="Receivers, stands, secondary mirrors, covers.")
    screens: tuple[Screen, ...] = Field((), alias="screen", description="Planes that record light.")
    air: Air = Field(Air(), description="The air around the dish.")
    horizon: Horizon | None = Field(None, description="How high the far surroundings stand; only day needs it.")
    obstacles: tuple[Obstacle, ...] = Field(
        (), alias="obstacle", description="Things near the dish that shade it; only day needs them."
    )
    run: Run = Field(Run(), description="How long to trace.")

    variants: tuple[Variant, ...] = Field((), alias="variant", description="Changes of the scene to compare with it.")

    _source: Source = PrivateAttr()
    _variant_scenes: dict[str, Scene] = PrivateAttr(default_factory=dict)

    @model_validator(mode="wrap")
    @classmethod
    def _tell_all_faults(cls, data: Any, handler: ModelWrapValidatorHandler[Scene], info: ValidationInfo) -> Scene:
        """Run pydantic's checks and our own, and raise what both found in one go."""
        if isinstance(data, Scene):
            return data
        source = info.context if isinstance(info.context, Source) else _source_in_python(data)
        found: list[Fault] = []
        scene = None
        try:
            scene = handler(data)
        except ValidationError as error:
            found += schema_faults(error.errors(include_url=False), source, cls)
        found += cross_faults(source)
        variants, faults_of_variants = cls._read_variants(source, found)
        found += faults_of_variants
        if found or scene is None:
            raise InputError(_in_file_order(found))
        scene._source = source
        scene._variant_scenes = variants
        return scene

    @classmethod
    def _read_variants(cls, source: Source, base: list[Fault]) -> tuple[dict[str, Scene], list[Fault]]:
        """The scene of every variant, and the faults that the scene below it does not have itself."""
        sources, found = variant_sources(source)
        scenes = {}
        for name, written in sources.items():
            try:
                scenes[name] = cls.model_validate(written.data, context=written)
            except InputError as error:
                found += faults_of_variant(written, error.faults, base)
        return scenes, found

    @property
    def variant_scenes(self) -> dict[str, Scene]:
        """The scenes that the variants make of this one, by name."""
        return dict(self._variant_scenes)

    def with_keys(self, values: Mapping[str, Any]) -> Scene:
        """The scene, without its variants, with keys set as a variant would set them.

        Parameters
        ----------
        values : mapping
            By key of the scene file in dotted form: ``{"dish.slope_error_mrad": 4.0, "part.pot.radius_m": 0.2}``.

        Raises
        ------
        InputError
            If there is no such key, or the scene is not sound with it; it carries every fault.
        """
        source, found = source_with(self._source, values)
        if found:
            raise InputError(found)
        return type(self).model_validate(source.data, context=source)

    def path(self, name: str) -> Path:
        """Absolute path of a file named in the scene; names are relative to the scene file's folder."""
        return self._source.path(name)

    def fault(self, path: KeyPath, *, allowed: str, remedy: str = "", found: Any = None) -> Fault:
        """A fault at a key of this scene, with its file and line.

        Parameters
        ----------
        path : tuple
            Keys of the file with numbers from 0 for entries of lists: ``("part", 0, "radius_m")``.
        allowed : str
            What is allowed, as the end of a sentence: ``"must be > 0 (metres)"``.
        remedy : str
            What to do about it.
        found : object
            The value to show; left out, the value written in the scene.
        """
        return self._source.fault(path, allowed=allowed, remedy=remedy, found=found)

    @property
    def notes(self) -> tuple[str, ...]:
        """What the user should know although nothing is wrong."""
        return scene_notes(self._source)

    @property
    def title_line(self) -> str:
        """The title on one line; "untitled" where it is empty."""
        return " ".join(self.title.split()) or "untitled"

    @property
    def file(self) -> str:
        """The scene file as the user named it; ``"scene"`` for one made in Python."""
        return self._source.name


def _source_in_python(data: Any) -> Source:
    """The source of a scene that is made from values rather than from a file."""
    return Source(IN_PYTHON, Path.cwd(), data if isinstance(data, Mapping) else {})


def _in_file_order(faults: list[Fault]) -> list[Fault]:
    """Faults by line, each told once."""

    def line(fault: Fault) -> int:
        number = fault.where.rpartition(":")[2]
        return int(number) if number.isdigit() else 0

    return sorted(dict.fromkeys(faults), key=line)
