"""What may be asked for before a practice begins; whether a setting takes a value is the settings' to say."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from posturewatch.model.observation import Side
from posturewatch.review.entries import Entry

__all__ = ["Choices", "Hand", "Measure", "OwnLimit", "SettingChange"]

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
    microphone: str = Field(default="", max_length=200, description="Name a microphone, or nothing for none.")
    instrument: _Text = Field(default="", description="Name an instrument.")
    handedness: _Text = Field(default="", description="A player is right or left handed.")
    player: _Text = Field(default="", description="A player's name is text.")
    range_share: _Number = Field(default=0, description="A share is a number from 0.3 to 1.")
    before_start: bool = Field(default=True, description="Say true or false of the page before the start.")


class Measure(Entry):
    """What is to be measured."""

    needs = "Say what is to be measured: neutral, end or lens."

    what: Literal["neutral", "end", "lens"] = Field(description=needs)
    side: Side | None = Field(default=None, description="A hand is left or right.")
    quantity: _Text | None = Field(default=None, description="Name the angle whose end is measured.")
    direction: _Text | None = Field(default=None, description="Name the direction whose end is measured.")


class Hand(Entry):
    """The length of the hand, null for that of people."""

    needs = "Give the hand's length in millimetres, or null."

    length_mm: _Number | None = Field(description="The hand's length is a number of millimetres.")
    method: Literal["ruler", "card"] = Field(
        default="ruler", description="A hand is measured with a ruler or a card."
    )


class OwnLimit(Entry):
    """A limit of one hand set by hand, null for none; sure: the player was asked about it."""

    needs = "Name the hand, the angle, the direction, the level and the limit."

    side: Side = Field(description="A hand is left or right.")
    quantity: _Text = Field(description=needs)
    direction: _Text = Field(description=needs)
    level: _Text = Field(description=needs)
    value: _Number | None = Field(description="A limit is a number of degrees.")
    sure: bool = Field(default=False, description="Say true or false of being sure.")


class SettingChange(Entry):
    """One setting; null takes it out of the file, so that its default holds."""

    needs = "Name the section, the key and the new value."

    section: _Text = Field(description=needs)
    key: _Text = Field(description=needs)
    value: bool | int | float | _Text | list[int | float | _Text] | None = Field(
        description="A setting is a number, a text, true or false, or a list of these."
    )
