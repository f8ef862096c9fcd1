"""Reports in German: every word comes from the catalogue, and what the program names is called as on the page.

Checked against the sources themselves: every text that is said in the report's code, every name in the program's
tables, and the page's own German catalogue, `web/words/de.js`.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from review_stage import ReviewStage

from posturewatch.comfort.discomfort import REGIONS, SIGNS
from posturewatch.config.instruments import ROLES
from posturewatch.config.limit_profiles import load_profile, profile_names
from posturewatch.config.resources import web_dir
from posturewatch.errors import InputError
from posturewatch.model.measurement import Refusal
from posturewatch.model.quantities import in_group
from posturewatch.review.report import phrases
from posturewatch.review.report.content import STATES
from posturewatch.review.report.german import GERMAN
from posturewatch.review.report.language import say, speaking
from posturewatch.review.report.rows import ANGLE_HEAD
from posturewatch.review.report.writing import Reports, Wanted

FOLDER = Path(phrases.__file__).parent
PLACES = re.compile(r"\{(\w*)\}")


def said() -> set[str]:
    """The texts that stand in calls of `say` as they are."""
    found = set()
    for path in FOLDER.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "say":
                first = node.args[0]
                if isinstance(first, ast.Constant) and isinstance(first.value, str):
                    found.add(first.value)
    return found


def named() -> set[str]:
    """What is named by the program's tables, and said by its name."""
    found = {*STATES, *ANGLE_HEAD, *phrases.CAUTIONS, phrases.IF_IT_HURTS, phrases.HOW_SURE, phrases.ISB}
    found |= {
        phrases.STATES_MEAN,
        phrases.COLUMNS_MEAN,
        phrases.WARNING_MEANS,
        phrases.PICTURED,
        phrases.NOTHING_HELD,
        phrases.NOTHING_TOLD,
        "comfort limit",
        "extreme limit",
    }
    for entry in in_group("wrist"):
        found |= {entry.label, *entry.words, *entry.directions}
    # Of the wrist, neither strings nor a plane of the fingers are wanted, and it is reported.
    of_fingers = {Refusal.NO_PLANE, Refusal.STRINGS_NOT_SEEN, Refusal.NOT_REPORTED}
    for refusal in set(Refusal) - of_fingers:
        found |= {refusal.value, refusal.help}
    found |= {sign.label for sign in SIGNS} | {place.name for place in REGIONS}
    found |= {role.label for role in ROLES.values() if role.label}
    for name in profile_names():
        profile = load_profile(name)
        found |= {profile.label, profile.description}
    return found


def test_every_text_of_a_report_has_its_german() -> None:
    wanted = said() | named()
    assert len(wanted) > 150
    assert sorted(wanted - set(GERMAN)) == []
    for english, german in GERMAN.items():
        assert sorted(PLACES.findall(english)) == sorted(PLACES.findall(german)), english


def test_a_name_is_the_same_as_on_the_page() -> None:
    page = (web_dir() / "words/de.js").read_text(encoding="utf-8")
    entries = in_group("wrist")
    for english in [
        *(word for entry in entries for word in (entry.label, *entry.words)),
        *(one.value for one in (Refusal.HAND_NOT_SEEN, Refusal.FOREARM_NOT_SEEN, Refusal.TOO_UNCERTAIN)),
        *(role.label for role in ROLES.values() if role.label),
        *(sign.label for sign in SIGNS),
    ]:
        assert f'"{GERMAN[english]}"' in page, english


def test_the_whole_report_speaks_the_language_that_is_asked_for(tmp_path: Path) -> None:
    stage = ReviewStage(tmp_path)
    try:
        ids = stage.sessions[-2:]
        german = Reports(stage.store, language=lambda: "de")
        text = re.sub(r"(?s)<style>.*?</style>|<[^>]*>", "\n", german.make(ids, Wanted()).decode())
        for words in (
            "Haltung der Handgelenke",
            "Am längsten über extrem",
            "im Komfort",
            "Wie das zu lesen ist",
        ):
            assert words in text
        assert '<html lang="de">' in german.make(ids, Wanted()).decode()
        # No sentence is left in English, and no number with an English decimal sign.
        left = [one for one in GERMAN if " " in one and "{" not in one and one != GERMAN[one] and one in text]
        assert left == []
        assert re.findall(r".*\d\.\d+(?:°| s).*", text) == []
        # What is asked for goes before what is usual, and paper speaks it, too.
        assert "How to read this" in german.make(ids, Wanted(language="en")).decode()
        assert german.make(ids, Wanted("pdf")).startswith(b"%PDF-")
        assert "How to read this" in Reports(stage.store).make(ids, Wanted()).decode()
    finally:
        stage.close()
    with pytest.raises(InputError, match="no report in 'fr'"):
        Wanted(language="fr")


def test_a_language_is_spoken_within_and_not_after() -> None:
    with speaking("de"):
        assert say("{count} warnings", count=3) == "3 Warnungen"
        assert say("Nocturne") == "Nocturne"
    assert say("{count} warnings", count=3) == "3 warnings"
    with pytest.raises(ValueError, match="language is one of"), speaking("fr"):
        pass
