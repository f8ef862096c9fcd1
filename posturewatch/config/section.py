"""What a section of the settings file is made of."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field

__all__ = ["Section", "setting"]


def setting(default: Any, help: str, low: float | None = None, high: float | None = None) -> Any:
    """A setting with its default, its help and its bounds, both allowed."""
    return Field(default=default, description=help, ge=low, le=high)


class Section(BaseModel):
    """Exactly the declared settings, of exactly their types."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)
