"""The blind second look: a draw that can be repeated, and judgements before anything is shown."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.record.blind import blind_items, draw
from audit.record.errors import DecisionError
from audit.record.types import Agree
from tests.record.conftest import CLEAR, STOP, UNSURE, Desk, new_key


@given(
    st.lists(st.text(max_size=6), unique=True, max_size=40),
    st.floats(0, 1),
    st.text(min_size=1, max_size=10),
)
def test_a_draw_takes_its_share_and_follows_from_its_seed(
    labels: list[str], share: float, seed: str
) -> None:
    labels = [x for x in labels if x.isprintable()]
    seed = seed.encode("utf-8", "replace").decode()
    drawn = draw(labels, share, seed)
    assert set(drawn) <= set(labels)
    assert len(drawn) == len(set(drawn))
    assert share * len(labels) - 1e-6 <= len(drawn) < share * len(labels) + 1
    assert drawn == draw(labels[::-1], share, seed)


def test_a_draw_can_be_repeated_with_any_tool() -> None:
    labels = [f"F{n:02d}" for n in range(1, 13)]
    by_hand = sorted(labels, key=lambda x: hashlib.sha256(f"a seed:{x}".encode()).hexdigest())
    assert list(draw(labels, 0.25, "a seed")) == by_hand[:3]


def test_every_fitting_is_drawn_about_as_often() -> None:
    # Chi-square with 9 degrees of freedom stays below its 99.9 % point, 27.88 (from memory).
    labels = [f"F{n:02d}" for n in range(10)]
    counts = dict.fromkeys(labels, 0)
    for seed in range(3000):
        for label in draw(labels, 0.1, str(seed)):
            counts[label] += 1
    assert sum((n - 300) ** 2 / 300 for n in counts.values()) < 27.88


def _draw(desk: Desk, share: float = 1.0, seed: str | None = None) -> None:
    desk.record.draw_blind(desk.job, share=share, by=desk.by, key=new_key(), seed=seed)


def _judge(desk: Desk, item: str, said: str = "fault") -> None:
    desk.record.judge_blind(desk.job, item, said, by=desk.by, key=new_key())  # type: ignore[arg-type]


def test_the_record_shows_the_draw(desk: Desk) -> None:
    _draw(desk, 0.1)
    said = desk.record.entries()[-1].data
    assert said["seed"] == desk.record.entries()[-2].hash
    assert list(draw(said["of"], 0.1, said["seed"])) == said["drawn"]
    assert len(said["drawn"]) == 1


def test_only_what_photos_answer_is_asked(desk: Desk) -> None:
    assert [i.id for i in blind_items(desk.job, "F01")] == [STOP, CLEAR, UNSURE]


def test_judgements_are_made_once_before_anything_is_shown(desk: Desk) -> None:
    with pytest.raises(DecisionError, match="not drawn"):
        _judge(desk, STOP)
    _draw(desk)
    assert desk.state.blind.hides("F01")
    _judge(desk, STOP)
    with pytest.raises(DecisionError, match="already"):
        _judge(desk, STOP, "no fault")
    desk.decide(CLEAR, Agree())
    with pytest.raises(DecisionError, match="shown already"):
        _judge(desk, CLEAR)
    with pytest.raises(DecisionError, match="not drawn"):
        _judge(desk, "joist-holes:F01")


def test_agreement_of_person_and_tool_is_told(desk: Desk) -> None:
    _draw(desk)
    for label in ("F01", "F02"):
        _judge(desk, f"core-outside-grip:{label}", "fault")
        _judge(desk, f"copper-beyond-terminal:{label}", "no fault")
        _judge(desk, f"cpc-cut-short:{label}", "can't tell" if label == "F01" else "fault")
    state = desk.state.blind
    assert state.to_judge == {}
    assert state.agreement is not None
    assert (state.agreement.n, state.agreement.agreed) == (6, 5)
    # By hand: p0 = 5/6, rows 3, 2, 1 and columns 2, 2, 2 of 6: pe = 1/3, kappa = 0.75.
    assert state.agreement.kappa == pytest.approx(0.75)


def test_fittings_that_were_seen_are_not_drawn(desk: Desk) -> None:
    desk.show(STOP)
    _draw(desk)
    assert desk.state.blind.fittings == ("F02",)


@pytest.mark.parametrize("share", [-0.1, 1.1])
def test_a_share_is_a_share(desk: Desk, share: float) -> None:
    with pytest.raises(DecisionError, match="share"):
        _draw(desk, share)
