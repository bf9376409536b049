"""Grammar of the IP code (IEC 60529, clauses 4 and 5, as told in published summaries)."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.job.ipcode import IpCodeError, Promise, parse_ip

# Examples that a published summary of IEC 529 gives (secondary), with what they hold.
READ = [
    ("IP2X", (2, ()), None, ""), ("IP20C", (2, (0,)), "C", ""), ("IPXXC", (None, ()), "C", ""),
    ("IP3XD", (3, ()), "D", ""), ("IP23S", (2, (3,)), None, "S"), ("IP21CM", (2, (1,)), "C", "M"),
    ("IPX5/IPX7", (None, (5, 7)), None, ""), ("IP69", (6, (9,)), None, ""), ("IPX1C", (None, (1,)), "C", ""),
    ("IP23CS", (2, (3,)), "C", "S"), ("ip 65", (6, (5,)), None, ""), ("IP44W", (4, (4,)), None, "W"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "numerals", "additional", "extra"), READ)
def test_read(text: str, numerals: tuple[object, object], additional: object, extra: str) -> None:
    code = parse_ip(text)
    assert (code.solids, code.water) == numerals
    assert (code.parts[0].additional, code.parts[0].extra) == (additional, extra)


REFUSED = [
    ("IP9K", "ISO 20653"), ("IP69K", "ISO 20653"), ("IP7X", "0 to 6"), ("IP6", "second numeral"),
    ("65", "begin with IP"), ("IP65/67", "IP65/IP67"), ("IP23SC", "letters come"), ("IP23WS", "letters come"),
    ("IP23E", "two numerals"), ("", "begin with IP"), ("IP", "two numerals"), ("IP6510", "two numerals"),
    ("IP-65", "two numerals"), ("IP６５", "two numerals"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "reason"), REFUSED)
def test_refused(text: str, reason: str) -> None:
    with pytest.raises(IpCodeError, match=re.escape(reason)):
        parse_ip(text)


GRAMMAR = re.compile(r"IP[0-6X][0-9X][A-D]?H?M?S?W?(/IP[0-6X][0-9X][A-D]?H?M?S?W?)*", re.ASCII)


@given(st.from_regex(GRAMMAR, fullmatch=True))
def test_what_the_grammar_makes_is_read_and_written_back(text: str) -> None:
    assert str(parse_ip(text)) == text


@given(st.text(st.sampled_from("IPX0123456789ABCDEHKMSW/ "), max_size=12))
def test_what_the_grammar_does_not_make_is_refused(text: str) -> None:
    plain = re.sub(r"\s+", "", text)
    if GRAMMAR.fullmatch(plain):
        assert str(parse_ip(text)) == plain
    else:
        with pytest.raises(IpCodeError):
            parse_ip(text)


# IPXXB serves where IP2X is asked (IEC 60364-4-41; from memory); X is never zero (secondary).
FINGERS = [
    ("IP20", "yes"), ("IP1XB", "yes"), ("IP10", "no"), ("IP1XA", "no"), ("IPXXB", "yes"),
    ("IPXXA", "ask the maker"), ("IPX4", "ask the maker"), ("IP0XD", "yes"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "promise"), FINGERS)
def test_fingers(text: str, promise: str) -> None:
    assert parse_ip(text).keeps_out_fingers() is Promise(promise)


@given(st.integers(0, 6), st.integers(0, 6))
def test_solids_are_monotone(numeral: int, needed: int) -> None:
    want = Promise.YES if numeral >= needed else Promise.NO
    assert parse_ip(f"IP{numeral}X").keeps_out_solids(needed) is want
