"""The one table of measured quantities: a new quantity is an entry here, not a new branch elsewhere."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["QUANTITIES", "QUANTITY_NAMES", "Quantity", "quantity"]


@dataclass(frozen=True)
class Quantity:
    """One measured quantity.

    name: key in code, limits files, the store and the page.
    label: words for a player.
    unit: "deg" or "mm"; columns in files are `column` and `sd_column`.
    positive, negative: the anatomical direction of either sign (ISB); negative is None where only one exists.
    """

    name: str
    label: str
    unit: str
    positive: str
    negative: str | None

    @property
    def column(self) -> str:
        return f"{self.name}_{self.unit}"

    @property
    def sd_column(self) -> str:
        return f"{self.name}_sd_{self.unit}"

    @property
    def directions(self) -> tuple[str, ...]:
        return (self.positive,) if self.negative is None else (self.positive, self.negative)

    def sign(self, direction: str) -> int:
        """+1 or -1 for a direction of this quantity; unknown directions raise ValueError."""
        if direction == self.positive:
            return 1
        if self.negative is not None and direction == self.negative:
            return -1
        raise ValueError(f"{self.name} has the directions {self.directions}, not {direction!r}")


QUANTITIES: tuple[Quantity, ...] = (
    Quantity("wrist_flexion", "wrist flexion", "deg", "flexion", "extension"),
    Quantity("wrist_ulnar_deviation", "wrist deviation", "deg", "ulnar", "radial"),
)

QUANTITY_NAMES: tuple[str, ...] = tuple(entry.name for entry in QUANTITIES)


def quantity(name: str) -> Quantity:
    """The entry of that name; raises KeyError for an unknown one."""
    for entry in QUANTITIES:
        if entry.name == name:
            return entry
    raise KeyError(name)
