"""What a player enters beside the recording, checked before it is kept; each fault is one sentence.

A field's description is the sentence that is said of any value it does not take.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, ClassVar, Literal, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError

from posturewatch.comfort.discomfort import HIGHEST, SIGNS, place_names
from posturewatch.errors import InputError
from posturewatch.storage.tables.passages import TEMPO_BPM
from posturewatch.storage.tables.pieces import LONGEST_BARS, LONGEST_NAME, spaced
from posturewatch.storage.tables.practice_list import LONGEST_LIST

__all__ = [
    "CheckEntry",
    "Choice",
    "ClipChange",
    "Entry",
    "MarkChange",
    "MarkEntry",
    "PassageChange",
    "PassageEntry",
    "PieceChange",
    "PracticeItem",
    "PracticeItems",
]

#: Characters of the note of a mark, and of a clip or a check.
LONGEST_MARK_NOTE = 200
LONGEST_NOTE = 500

_Self = TypeVar("_Self", bound="Entry")


class Entry(BaseModel):
    """Values of exactly these types; what is not declared is refused.

    Parameters
    ----------
    noun
        What the values are of, at the beginning of a sentence.
    needs
        What is said where a value is missing.
    """

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)

    noun: ClassVar[str] = "The request"
    needs: ClassVar[str | None] = None

    @classmethod
    def read(cls: type[_Self], values: object) -> _Self:
        """The values checked.

        Raises
        ------
        InputError
            With one sentence for the first that cannot be taken.
        """
        try:
            return cls.model_validate(values)
        except ValidationError as error:
            raise InputError(cls._sentence(error)) from error

    def changes(self) -> dict[str, Any]:
        """The values that were given, without those left at their defaults."""
        return self.model_dump(exclude_unset=True)

    @classmethod
    def _sentence(cls, error: ValidationError) -> str:
        first = error.errors(include_url=False)[0]
        name = str(first["loc"][0]) if first["loc"] else ""
        if name not in cls.model_fields:
            return f"{cls.noun} has no {name[:40]!r}; leave that out." if name else f"{first['msg']}."
        if first["type"] == "missing" and cls.needs is not None:
            return cls.needs
        return cls.model_fields[name].description or f"{cls.noun} has no usable {name}."


def _or_empty(value: object) -> object:
    return "" if value is None else value


def _in_order(known: tuple[str, ...]) -> Callable[[list[str]], list[str]]:
    """Refuses unknown names and puts the others into the order of the form."""

    def ordered(names: list[str]) -> list[str]:
        unknown = [name for name in names if name not in known]
        if unknown:
            raise ValueError("unknown")
        return [name for name in known if name in names]

    return ordered


_NAMED = f"A piece's name is text of 1 to {LONGEST_NAME} characters; change it."
_PieceName = Annotated[
    str,
    AfterValidator(spaced),
    Field(min_length=1, max_length=LONGEST_NAME, description=_NAMED),
]
_Bars = Annotated[
    str,
    BeforeValidator(_or_empty),
    AfterValidator(spaced),
    Field(
        max_length=LONGEST_BARS,
        description=f"A passage's bars are text of at most {LONGEST_BARS} characters; shorten it.",
    ),
]
_Tempo = Annotated[
    float | None,
    Field(
        ge=TEMPO_BPM[0],
        le=TEMPO_BPM[1],
        description=f"A tempo is a number from {TEMPO_BPM[0]:g} to {TEMPO_BPM[1]:g} beats a minute; change it.",
    ),
]
_Border = Annotated[
    float,
    Field(ge=0.0, le=1e6, description="A passage's border is a number of seconds, 0 or more; change it."),
]
_MarkTime = Annotated[
    float, Field(ge=0.0, description="A mark's time is a number of seconds, 0 or more; change it.")
]
_MarkNote = Annotated[
    str,
    BeforeValidator(_or_empty),
    Field(
        max_length=LONGEST_MARK_NOTE,
        description=f"A note is text of at most {LONGEST_MARK_NOTE} characters; shorten it.",
    ),
    AfterValidator(str.strip),
]
_Note = Annotated[
    str,
    BeforeValidator(_or_empty),
    Field(
        max_length=LONGEST_NOTE,
        description=f"A note is text of at most {LONGEST_NOTE} characters; shorten it.",
    ),
    AfterValidator(str.strip),
]


class Choice(Entry):
    """What is played now or next; piece None: nothing in particular."""

    noun = "A passage"
    needs = "Say which piece is played, or null for nothing in particular."

    piece: _PieceName | None = Field(
        description=f"A piece's name is text of 1 to {LONGEST_NAME} characters; change it."
    )
    bars: _Bars = ""
    tempo_bpm: _Tempo = None


class PassageEntry(Entry):
    """A passage entered afterwards; borders in seconds of the session."""

    noun = "A passage"
    needs = "A passage needs a piece, a beginning and an end; give all three."

    piece: _PieceName
    bars: _Bars = ""
    tempo_bpm: _Tempo = None
    start_s: _Border
    end_s: _Border


class PassageChange(Entry):
    """What changes of a passage."""

    noun = "A passage"

    piece: _PieceName = ""
    bars: _Bars = ""
    tempo_bpm: _Tempo = None
    start_s: _Border = 0.0
    end_s: _Border = 0.0


class PracticeItem(Entry):
    """One entry of the practice list."""

    noun = "An entry of the practice list"

    piece: _PieceName
    bars: _Bars = ""
    tempo_bpm: _Tempo = None


class PracticeItems(Entry):
    """The whole practice list."""

    noun = "A practice list"
    needs = "A practice list is a list of entries with a piece each."

    items: list[PracticeItem] = Field(
        max_length=LONGEST_LIST,
        description=f"A practice list has at most {LONGEST_LIST} entries, each a piece, with bars and a tempo if "
        "you like; change it.",
    )


class PieceChange(Entry):
    """A piece's new name."""

    noun = "A piece"
    needs = "Give the piece's new name."

    name: _PieceName


class MarkEntry(Entry):
    """A mark set afterwards, in seconds of the session."""

    noun = "A mark"
    needs = "A mark needs a time in seconds of the session."

    time_s: _MarkTime
    note: _MarkNote = ""


class MarkChange(Entry):
    """What changes of a mark."""

    noun = "A mark"

    time_s: _MarkTime = 0.0
    note: _MarkNote = ""


class ClipChange(Entry):
    """What changes of a clip: whether it is kept for good, and its note."""

    noun = "A clip"

    kept: bool = Field(default=False, description="A clip is kept or not; say true or false.")
    note: _Note = ""


class CheckEntry(Entry):
    """A discomfort check, places and signs by their names in the form."""

    noun = "A discomfort check"

    moment: Literal["before", "after"] = Field(
        description="A discomfort check is made before or after playing; say which."
    )
    rating: int = Field(
        ge=0,
        le=HIGHEST,
        description=f"Discomfort is rated with a whole number from 0 to {HIGHEST}; choose one.",
    )
    places: Annotated[
        list[str],
        BeforeValidator(lambda given: [] if given is None else given),
        AfterValidator(_in_order(place_names())),
        Field(description="A place of the check is unknown; choose from the form."),
    ] = []
    signs: Annotated[
        list[str],
        BeforeValidator(lambda given: [] if given is None else given),
        AfterValidator(_in_order(tuple(sign.name for sign in SIGNS))),
        Field(description="A warning sign of the check is unknown; choose from the form."),
    ] = []
    note: _Note = ""
    session_id: str | None = Field(default=None, description="A session is named by its id.")
