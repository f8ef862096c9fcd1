"""The words of the page: those of the program, and those of its own catalogues."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from posturewatch.model.quantities import in_group

if TYPE_CHECKING:
    from page_stage import OpenPage

pytestmark = pytest.mark.browser


def test_the_page_has_the_words_of_the_table_of_quantities(open_page: OpenPage) -> None:
    page = open_page()
    entries = in_group("finger")
    asked = [[entry.name, direction] for entry in entries for direction in entry.directions]
    known, told = page.evaluate(
        """async (asked) => {
          const { quantityOf, leaning } = await import("/js/terms.js");
          const known = (one) => [one.label, one.positive, one.negative, one.finger];
          return [asked.map(([name]) => known(quantityOf(name))),
            asked.map(([name, direction]) => leaning(name, direction))];
        }""",
        asked,
    )
    assert known == [
        [entry.label, entry.positive, entry.negative, entry.finger]
        for entry in entries
        for _ in entry.directions
    ]
    assert told == [entry.leaning(direction) for entry in entries for direction in entry.directions]
