"""The discomfort check's advice. Rules and signs: the thresholds are a convention of this program (D, derived
here); the signs are general medical knowledge (M, from memory) but for weakness and painless loss of control,
which were seen in a source (F). A change of about 2 points on a 0-10 rating is meaningful (M)."""

from __future__ import annotations

import itertools

import pytest

from posturewatch.comfort.discomfort import ADVICE_LEVELS, REGIONS, SIGNS, advise, form_json, place_names


@pytest.mark.parametrize(
    ("rating", "level"),
    [
        (0, "none"),
        (1, "watch"),
        (2, "watch"),
        (3, "pause"),  # D: pain of 3 or more while playing: pause
        (4, "pause"),
        (5, "end"),  # D: 5 or more: end the session
        (10, "end"),
    ],
)
def test_ratings(rating: int, level: str) -> None:
    assert advise(rating).level == level


#: The list of signs, each with what it calls for, as general medical knowledge has it (M; F where noted).
EXPECTED = {
    "chest or arm pain with breathlessness": "emergency",
    "hot swollen joint with fever": "same day",
    "sudden weakness": "same day",
    "numbness or tingling": "end",
    "weakness": "end",  # F
    "loss of control": "end",  # F
    "night waking": "end",
    "locking": "end",
    "swelling, heat or redness": "end",
    "sudden severe pain or a pop": "end",
    "colour change": "end",
    "pain at rest": "end",
    "lasting pain": "end",
    "pain from neck or arm": "end",
}


def test_every_sign_is_there_with_its_mark() -> None:
    assert {sign.name: sign.level for sign in SIGNS} == EXPECTED
    assert {sign.name for sign in SIGNS if sign.mark == "F"} == {"weakness", "loss of control"}
    assert {sign.mark for sign in SIGNS} == {"F", "M"}


@pytest.mark.parametrize("sign", EXPECTED)
def test_any_sign_ends_the_session_without_any_pain(sign: str) -> None:
    advice = advise(0, [sign])
    assert advice.level == EXPECTED[sign]
    assert ADVICE_LEVELS.index(advice.level) >= ADVICE_LEVELS.index("end")
    assert advice.sources


@pytest.mark.parametrize(
    ("rating", "signs"),
    [(5, ()), (9, ()), (0, ("weakness",)), (4, ("locking",))],
)
def test_from_five_or_with_a_sign_a_clinician_is_named(rating: int, signs: tuple[str, ...]) -> None:
    text = " ".join(advise(rating, signs).sentences)
    assert "End this session" in text
    assert "see a clinician" in text


def test_the_most_pressing_comes_first() -> None:
    advice = advise(8, reversed(list(EXPECTED)))
    assert advice.level == "emergency"
    assert "emergency number" in advice.sentences[0]
    assert "today" in advice.sentences[1]
    assert "clinician" in advice.sentences[2]
    assert "diagnosis" in advice.sentences[-1]


def test_the_level_never_falls_with_more_pain_or_more_signs() -> None:
    names = [sign.name for sign in SIGNS]
    for rating, signs in itertools.product(range(10), itertools.combinations(names, 2)):
        now = ADVICE_LEVELS.index(advise(rating, signs).level)
        assert now >= ADVICE_LEVELS.index(advise(rating, signs[:1]).level)
        assert now <= ADVICE_LEVELS.index(advise(rating + 1, signs).level)


@pytest.mark.parametrize(("before", "after", "level"), [(0, 2, "pause"), (1, 2, "watch"), (2, 0, "none")])
def test_a_rise_of_two_points_is_meaningful(before: int, after: int, level: str) -> None:
    """M: a change of about 2 points."""
    assert advise(after, rating_before=before).level == level


def test_nothing_is_diagnosed() -> None:
    words = ("tendin", "carpal tunnel", "dystonia", "arthritis", "syndrome", "you have")
    for rating in range(11):
        text = " ".join(advise(rating, EXPECTED, rating_before=0).sentences).lower()
        assert not any(word in text for word in words)


def test_what_is_unknown_is_refused() -> None:
    with pytest.raises(KeyError):
        advise(0, ["hiccups"])
    for rating in (-1, 11):
        with pytest.raises(ValueError, match="0 to 10"):
            advise(rating)


def test_the_form_has_all_places_of_both_sides() -> None:
    form = form_json()
    assert len(place_names()) == 2 * len(REGIONS) == len(set(place_names()))
    assert f"{form['sides'][0]} {form['places'][0]['name']}" in place_names()
    assert [sign["name"] for sign in form["signs"]] == list(EXPECTED)
