"""What may be asked for before a practice begins; whether a setting takes a value is the settings' to say."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from posturewatch.review.entries import Entry

__all__ = ["Choices", "SettingChange"]

#: A stream's address, with all that lets one in.
_LONGEST_TEXT = 2000

_Text = Annotated[str, Field(max_length=_LONGEST_TEXT)]
_Number = int | float


class Choices(Entry):
    """What is played, and where it is seen from."""

    source: _Text = Field(default="", description="Name a camera by its number, or give an address as text.")
    size_px: list[int] = Field(
        default_factory=list, max_length=2, description="A size is a width and a height."
    )
    rate_hz: _Number = Field(default=0, description="A rate is a number of frames a second.")
    mirrored: bool = Field(default=False, description="Say true or false of a mirrored camera.")
    hfov_deg: _Number | None = Field(default=None, description="A field of view is a number of degrees.")
    microphone: bool = Field(default=False, description="Say true or false of the microphone.")
    instrument: _Text = Field(default="", description="Name an instrument.")
    handedness: _Text = Field(default="", description="A player is right or left handed.")
    before_start: bool = Field(default=True, description="Say true or false of the page before the start.")


class SettingChange(Entry):
    """One setting; null takes it out of the file, so that its default holds."""

    needs = "Name the section, the key and the new value."

    section: _Text = Field(description=needs)
    key: _Text = Field(description=needs)
    value: bool | int | float | _Text | list[int | float | _Text] | None = Field(
        description="A setting is a number, a text, true or false, or a list of these."
    )
