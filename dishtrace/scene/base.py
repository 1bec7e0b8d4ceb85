"""What all tables of a scene are made from."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Table(BaseModel):
    """Base of all tables of a scene: frozen, and unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", hide_input_in_errors=True)
