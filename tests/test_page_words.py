"""The words of the page: those of the program, and those of its own catalogues."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import pytest
from page_stage import FINGERS, WELL, Stage, expect_text, hand_state
from page_stand_ins import page_words

import posturewatch
from posturewatch.comfort.discomfort import REGIONS, SIGNS
from posturewatch.config.resources import web_dir
from posturewatch.config.settings import SETTINGS, Settings
from posturewatch.config.settings_form import settings_form
from posturewatch.config.settings_sections import Language
from posturewatch.model.measurement import Refusal
from posturewatch.model.outcome import Ending
from posturewatch.model.quantities import QUANTITIES

if TYPE_CHECKING:
    from page_stage import OpenPage
    from playwright.sync_api import Page

pytestmark = pytest.mark.browser

GERMAN = pytest.mark.parametrize("stage", ["de"], indirect=True)


def told(page: Page) -> list[list[Any]]:
    """By quantity and direction, what the page calls them."""
    asked = [[entry.name, direction] for entry in QUANTITIES for direction in entry.directions]
    found: list[list[Any]] = page.evaluate(
        """async (asked) => {
          const { adviceOf, labelOf, leaning } = await import("/js/terms.js");
          return asked.map(([name, direction]) => [labelOf(name), leaning(name, direction), adviceOf(name)]);
        }""",
        asked,
    )
    return found


def programs_words() -> list[list[str]]:
    return [
        [entry.label, entry.leaning(direction), entry.advice]
        for entry in QUANTITIES
        for direction in entry.directions
    ]


def test_in_english_the_page_has_the_programs_own_words(open_page: OpenPage) -> None:
    assert told(open_page()) == programs_words()


def test_a_warning_is_said_in_plain_words_with_the_term_for_whoever_listens(open_page: OpenPage) -> None:
    """From two metres the plain words are read alone; the field's term stands beside the number."""
    warned = [
        (("left", "wrist_flexion", "flexion"), "Left wrist bent in", "flexion"),
        (("left", "wrist_flexion", "extension"), "Left wrist bent back", "extension"),
        (
            ("right", "wrist_ulnar_deviation", "ulnar"),
            "Right wrist tilted to the little finger",
            "ulnar deviation",
        ),
        (("right", "wrist_ulnar_deviation", "radial"), "Right wrist tilted to the thumb", "radial deviation"),
    ]
    found = open_page().evaluate(
        """async (warned) => {
          const { announcement, warningSentence } = await import("/js/message.js");
          return warned.map(([side, quantity, direction]) => ({ side, quantity, direction, held_s: 3.9 }))
            .map((one) => [warningSentence(one), announcement(one)]);
        }""",
        [one for one, _, _ in warned],
    )
    assert found == [
        [f"{words}, held 3\u00a0s.", f"{words} ({term}). Ease it towards straight."]
        for _, words, term in warned
    ]


@GERMAN
def test_in_german_nothing_of_the_programs_terms_is_left_in_english(open_page: OpenPage) -> None:
    page = open_page()
    for german, english in zip(told(page), programs_words(), strict=True):
        assert all(one != other for one, other in zip(german, english, strict=True)), english
    named = page.evaluate(
        """async () => {
          const { words } = await import("/js/language.js");
          return Object.fromEntries(Object.entries(words.terms).map(([key, entries]) => [key, Object.keys(entries)]));
        }"""
    )
    document = page_words("de")
    assert {one["key"] for one in document["refusals"]} == set(named["refusals"])
    assert {one["name"] for one in document["cues"]} == set(named["cues"])
    assert {one["name"] for one in document["lift_planes"]} == set(named["planes"])
    assert {one["name"] for one in document["fingers"]} == set(named["fingers"])
    assert {direction for entry in QUANTITIES for direction in entry.directions} == set(named["directions"])
    assert {region.name for region in REGIONS} == set(named["places"])
    assert {sign.name for sign in SIGNS} == set(named["signs"])


@GERMAN
def test_every_setting_is_explained_in_german(open_page: OpenPage) -> None:
    """In English the program does, in the settings file as on the page; limits of one's own are explained together."""
    page = open_page()
    words = page.evaluate("import('/js/language.js').then(({ words }) => words.terms.settings)")
    own = "limits.personal"
    wanted = {f"{section}.{key}" for section, keys in SETTINGS.items() if section != own for key in keys}
    assert set(words) == {*wanted, own}
    english = {
        f"{section}.{key}": one.description for section, keys in SETTINGS.items() for key, one in keys.items()
    }
    assert [key for key, said in words.items() if said in ("", english.get(key)) or said.endswith(".")] == []
    # What can be chosen has words, too, but for names.
    named = page.evaluate("import('/js/language.js').then(({ words }) => words.setup.form.choices)")
    for section in settings_form(Settings()):
        for one in section["settings"]:
            if one["choices"] and one["labels"] is None and one["key"] != "profile":
                assert set(one["choices"]) == set(named[f"{section['name']}.{one['key']}"])


@GERMAN
def test_every_end_of_a_session_has_german_words(open_page: OpenPage) -> None:
    endings = open_page().evaluate("""async () => (await import("/js/language.js")).words.summary.endings""")
    assert set(endings) == set(get_args(Ending))
    assert "Film" in endings["film ended"]


@GERMAN
def test_a_practice_in_german(open_page: OpenPage, stage: Stage) -> None:
    page = open_page()
    assert page.evaluate("document.documentElement.lang") == "de"
    page.click("#fingers-toggle")
    stage.hands = ((12.0, 4.0, FINGERS), WELL[1])
    page.click("#start")
    hand_state(page, "left", "within")
    expect_text(page, ".message-text", "Beide Hände: im Komfortbereich.")
    expect_text(page, ".finger[data-finger=little]", "gestreckt und hoch")
    words = "[...document.querySelectorAll('.hand .word')].every((one) => one.scrollWidth <= one.clientWidth)"
    assert page.evaluate(words)
    stage.hands = ((60.0, 4.0), Refusal.HAND_NOT_SEEN)
    hand_state(page, "left", "held")
    expect_text(page, ".message[data-kind=warning]", "Links: Handgelenk gebeugt, seit")
    stage.hands = (WELL[0], Refusal.HAND_NOT_SEEN)
    expect_text(page, ".message[data-kind=calm]", "Rechte Hand: Hand nicht zu sehen. Drehe die Kamera so")
    assert page.evaluate(words)
    page.click("#stop")
    expect_text(page, "#summary h1", "Üben beendet")
    expect_text(
        page, "#summary", "1 Warnung; Beugung des Handgelenks in 90\u00a0% der Zeit gemessen, die Hand"
    )


#: Where the program says in whole sentences what a player reads on the page while practising and looking back.
SAYING = (
    "capture/camera.py", "capture/devices.py", "capture/live.py", "capture/stream.py", "clips", "comfort/discomfort.py",
    "comfort/own_range.py", "exposure/breaks.py", "exposure/load.py", "model/savings.py", "pipeline/before_start",
    "pipeline/clip_recording.py", "pipeline/measuring.py", "pipeline/practice.py", "pipeline/view/people_notice.py",
    "server/feed.py", "storage/damage.py", "storage/recorder.py", "storage/tables",
)  # fmt: skip


def sentences(path: Path) -> Iterator[str]:
    """The sentences of a file, with {} for what is put in; docstrings and questions to the database are none."""
    tree = ast.parse(path.read_text("utf-8"))
    skipped = {
        part
        for node in ast.walk(tree)
        for part in (
            ast.walk(node.value)
            if isinstance(node, ast.Expr)
            else ast.walk(node)
            if isinstance(node, ast.JoinedStr)
            else ()
        )
        if part is not node
    }
    for node in ast.walk(tree):
        parts = node.values if isinstance(node, ast.JoinedStr) else [node]
        text = "".join(str(one.value) if isinstance(one, ast.Constant) else "{}" for one in parts)
        said = isinstance(node, ast.JoinedStr) or (
            isinstance(node, ast.Constant) and isinstance(node.value, str)
        )
        database = text.split(" ")[0] in {"SELECT", "UPDATE", "DELETE", "INSERT"}
        if said and node not in skipped and text.endswith(".") and text.count(" ") >= 4 and not database:
            yield text


@GERMAN
def test_what_the_program_says_while_playing_and_looking_back_is_there_in_german(open_page: OpenPage) -> None:
    program = Path(posturewatch.__file__).parent
    files = [
        file
        for name in SAYING
        for file in ([program / name] if name.endswith(".py") else sorted((program / name).glob("*.py")))
    ]
    said = {sentence for file in files for sentence in sentences(file)}
    assert len(said) > 60
    page = open_page()
    known = page.evaluate("import('/js/language.js').then(({ words }) => Object.keys(words.sentences))")
    assert said - set(known) == set()
    samples = [
        "Camera 2 gives no frames; it is probably in use: close other programs that use it, then start again.",
        "It has risen by 3 since before you played: about 2 points are a meaningful change. Rest.",
        "This machine cannot keep up with the camera. Less often than usual for now: the body, the picture. "
        "Closing other programs helps.",
        "Nothing that any catalogue has.",
    ]
    translated = page.evaluate(
        "(all) => import('/js/translated.js').then(({ translated }) => all.map(translated))", samples
    )
    assert translated == [
        "Kamera 2 gibt keine Bilder; wahrscheinlich ist sie in Gebrauch: Schließe andere Programme, die sie "
        "benutzen, und starte neu.",
        "Es ist um 3 gestiegen, seit du zu spielen begannst: Etwa 2 Punkte sind eine bedeutsame Änderung. "
        "Ruh dich aus.",
        "Dieser Rechner hält mit der Kamera nicht mit. Vorerst seltener als sonst: der Körper, das Bild. "
        "Andere Programme zu schließen hilft.",
        "Nothing that any catalogue has.",
    ]


def test_every_language_of_the_settings_has_a_catalogue() -> None:
    assert {path.stem for path in (web_dir() / "words").glob("*.js")} == set(get_args(Language))


class _Texts(HTMLParser):
    """Texts of a document that a reader sees, without the program's name and the note for browsers without scripts."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._inside: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in ("meta", "link", "input"):
            self._inside.append(tag)
        self.texts += [
            text for name, text in attrs if text and name in ("title", "aria-label", "placeholder", "alt")
        ]

    def handle_endtag(self, tag: str) -> None:
        while self._inside and self._inside.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if data.strip() and not {"title", "noscript", "h1"} & set(self._inside):
            self.texts.append(data.strip())


@pytest.mark.parametrize("name", ["index.html", "log.html", "setup.html", "settings.html"])
def test_the_documents_themselves_hold_no_words(name: str) -> None:
    reader = _Texts()
    reader.feed((web_dir() / name).read_text("utf-8"))
    assert [text for text in reader.texts if any(letter.isalpha() for letter in text)] == []
