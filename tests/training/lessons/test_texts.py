"""The course's words: complete, cautious, and with no figure that has no source."""

from __future__ import annotations

import re
from typing import get_args

import pytest

from audit.errors import ModelsError
from audit.measure.contract import CheckId
from audit.resources import load_toml
from audit.rules.region import shipped
from audit.training.lessons.drawings import DRAWINGS
from audit.training.lessons.texts import (
    Drawing,
    Lesson,
    fill,
    lessons,
    read_lesson,
    sheet_texts,
    sources_of,
)

SUBJECTS = (
    "entry-and-grip", "copper", "cpc", "ip-and-zones", "fire", "identification",
    "circuit-and-tests", "photos-that-can-be-judged", "what-a-photo-cannot-show",
    "limits-of-this-tool",
)  # fmt: skip


def told(lesson: Lesson) -> list[str]:
    asked = [t for q in lesson.question for t in (q.ask, q.answer)]
    shown = [t for p in lesson.picture for t in (p.caption, p.alt)]
    texts = [lesson.title, lesson.idea, *lesson.body, *lesson.look_for, *lesson.caution]
    return [fill(t) for t in [*texts, lesson.elsewhere, *asked, *shown]]


def test_ten_lessons_in_their_order() -> None:
    assert tuple(e.id for e in lessons()) == SUBJECTS


@pytest.mark.parametrize("lesson", lessons(), ids=lambda e: e.id)
def test_the_words_are_those_of_the_project(lesson: Lesson) -> None:
    """Never pass, fail or safe of work; state words as everywhere."""
    for text in told(lesson):
        assert not re.search(
            r"\b(pass(es|ed)?|fail(s|ed)?|safe|certified)\b", text, re.IGNORECASE
        ), text
        assert "{" not in text


@pytest.mark.parametrize("lesson", lessons(), ids=lambda e: e.id)
def test_every_source_says_how_far_it_was_verified(lesson: Lesson) -> None:
    lines = sources_of(lesson)
    assert lines
    for line in lines:
        assert re.search(
            r"read in a secondary text|read in an informal text only|from memory|ommon practice, no source",
            line,
        ), line


def test_the_sequence_stands_in_the_caution_of_every_sheet() -> None:
    # HSE guidance HSG85 (read in a secondary text): isolate, lock off, prove, test, prove again.
    order = [
        "isolate",
        "lock off and label",
        "prove the indicator",
        "prove dead",
        "prove the indicator again",
    ]
    at = [sheet_texts().caution.index(step) for step in order]
    assert at == sorted(at)
    assert "Only a competent person" in sheet_texts().caution


def test_every_photo_check_has_its_words() -> None:
    assert set(sheet_texts().check) == set(get_args(CheckId))


def test_a_length_is_asked_for_only_where_there_is_one() -> None:
    texts = sheet_texts()
    assert texts.task_of_length in texts.tasks_of("copper-beyond-terminal")
    for check in ("cpc-cut-short", "core-colours"):
        assert texts.tasks_of(check) == list(texts.tasks)


@pytest.mark.parametrize(
    ("lesson", "value"),
    [
        (4, "outside zones 0, 1 and 2"), (7, "{zs-cold} of it"), (7, "{ir-min-mohm}"),
        (5, "{fire-high-min}"),
    ],
)  # fmt: skip
def test_a_value_that_was_not_read_well_is_told_as_such(lesson: int, value: str) -> None:
    """Its own sentence says so, not the list of sources alone."""
    bodies = [text for text in lessons()[lesson - 1].body if value in text]
    assert bodies
    for body in bodies:
        at = body.index(value)
        assert re.search(
            "from memory|as remembered|in an informal text", body[max(0, at - 80) : at + 60]
        )


@pytest.mark.parametrize(
    ("lesson", "words"),
    [
        # BS 7671:2018+A2:2022, 701.32.2 to 701.32.4 (read in a secondary text)
        (4, "up to 2.25 m from the floor"),
        (4, "Zone 2 reaches 0.6 m beyond zone 1"),
        (4, "zone 1 reaches 1.2 m from the centre of the fixed outlet"),
        # 701.512.2 (read in a secondary text)
        (4, "Zone 0 asks for IPX7, zones 1 and 2 for IPX4"),
        # IEC 60364-7-701, 701.55 (read in a secondary text)
        (4, "12 V AC or 30 V ripple-free DC"),
        # Approved Document B, volume 1 (England) 2019, Table B3 (read in a secondary text)
        (5, "30 min for the floor between the storeys of a two-storey house"),
        # BS 7671 appendix 4, Table 4Ab (read in a secondary text)
        (7, "3 % from the origin"),
        # Table 64 (volts read in a secondary text, megohms from memory)
        (7, "at 500 V DC, and is no less than 1 MΩ"),
        # 514 (read in a secondary text)
        (6, "31 March 2004"),
    ],
)  # fmt: skip
def test_published_values_stand_in_the_lessons(lesson: int, words: str) -> None:
    assert any(words in text for text in told(lessons()[lesson - 1]))


def test_figures_that_are_worked_out_are_right() -> None:
    body = " ".join(told(lessons()[6]))
    values = shipped("gb-eng").values
    # BS 7671:2018+A2:2022, Table 41.3: 7.28 Ω for type B, 6 A (computed; read in a secondary text).
    zs = values["zs-cmin"].n * 230 / (values["trip-multiple/b"].n * 6)
    assert f"{zs:.2f} Ω" in body
    assert round(zs, 2) == 7.28
    # 80 % is cut off, not rounded: 5.82 of 5.827 (computed).
    assert f"{int(zs * values['zs-cold'].n * 100) / 100:.2f} Ω" in body
    # IEC 60228, class 1: 12.1 and 18.1 Ω/km (read in a secondary text).
    assert round(12.1 + 18.1, 1) == 30.2
    assert "30.2 mΩ" in body
    assert f"{20 * 30.2 / 1000:.2f} Ω" in body
    assert f"{30 * 30.2:.0f} mΩ" in body


def test_lesson_ten_copies_no_figure_of_how_well_it_sees() -> None:
    text = " ".join(told(lessons()[9]))
    assert "README.md" in text
    assert "How well it sees today" in text
    assert not re.findall(r"\d+ %", text.replace("95 %", ""))


def test_every_drawing_is_used_and_known() -> None:
    used = {p.drawing for e in lessons() for p in e.picture if isinstance(p, Drawing)}
    assert used == set(DRAWINGS)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"title": ""}, "title"),
        ({"caution": []}, "caution"),
        ({"question": []}, "question"),
        ({"checks": ["no-such-check"]}, "there is no check 'no-such-check'"),
        (
            {"idea": "A zone reaches {no-such-value} from here."},
            "there is no value 'no-such-value'",
        ),
        ({"idea": "Below {setting:no_such} px it is asked again."}, "there is no setting"),
        ({"surplus": 1}, "surplus"),
    ],
)
def test_a_lesson_that_is_wrong_is_told(change: dict[str, object], words: str) -> None:
    data = {**load_toml("lessons/04-ip-and-zones.toml"), **change}
    with pytest.raises(ModelsError) as caught:
        read_lesson(data, "lessons/04.toml")
    line = caught.value.one_line()
    assert words in line
    assert "04.toml" in line
    assert "\n" not in line
