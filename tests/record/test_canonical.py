"""Canonical JSON against the vectors that RFC 8785 publishes (appendix B, sections 3.2.2, 3.2.3)."""

from __future__ import annotations

import json
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.record.canonical import canonical, digest, parse

# RFC 8785, appendix B: IEEE 754 double (big endian, hexadecimal) and its text.
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize(("bits", "text"), NUMBERS.items())
def test_numbers_of_appendix_b(bits: str, text: str) -> None:
    assert canonical(struct.unpack(">d", bytes.fromhex(bits))[0]).decode() == text


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
def test_what_is_no_number_is_refused(bits: str) -> None:
    with pytest.raises(ValueError, match="canonical"):
        canonical(struct.unpack(">d", bytes.fromhex(bits))[0])


def test_sample_of_section_3_2_2() -> None:
    text = (
        '{"numbers":[333333333.33333329,1E30,4.50,2e-3,0.000000000000000000000000001],'
        r'"string":"\u20ac$\u000F\u000aA\u0027\u0042\u0022\u005c\\\"\/",'
        '"literals":[null,true,false]}'
    )
    said = canonical(json.loads(text)).decode()
    assert said == (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )


def test_order_of_section_3_2_3() -> None:
    names = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\x80", "\u00f6"]
    said = list(json.loads(canonical(dict.fromkeys(names, 0))))
    assert said == ["\r", "1", "\x80", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]


@pytest.mark.parametrize(
    "text",
    [
        b'{"b":1,"a":2}',
        b'{"a": 1}',
        b'{"a":1.0}',
        b'{"a":1,"a":1}',
        b'"\\u0041"',
        b"NaN",
        b"[" * 5000 + b"]" * 5000,
        b"[" * 70 + b"]" * 70,
        b'"\\ud800"',
        b"\xff",
        b"",
    ],
)
def test_a_second_way_to_write_it_is_refused(text: bytes) -> None:
    with pytest.raises(ValueError):
        parse(text)


JSON = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(-(2.0**52), 2.0**52, allow_nan=False)
    | st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.text(st.characters(exclude_categories=["Cs"]), max_size=8), inner, max_size=4
        )
    ),
    max_leaves=12,
)


@given(JSON)
def test_what_is_read_back_has_the_same_digest(value: object) -> None:
    assert digest(parse(canonical(value))) == digest(value)
