"""The IP code of IEC 60529: its grammar, and what one code promises of another.

The standard itself was not at hand; what is held here was read in published
summaries of it, or is from memory where said so.

- Two characteristic numerals, each may be X (unspecified, which is not zero).
- First numeral 0 to 6; second 0 to 9 (9 since Amendment 2:2013). The letter K
  belongs to ISO 20653 (road vehicles), not to this code.
- Additional letter A to D, supplementary letters H, M, S, W in alphabetical order.
- Codes joined by `/` (IPX5/IPX7) each hold by themselves.
- A second numeral up to 6 implies the lower ones; 7 and 8 do not imply 5 or 6,
  9 implies nothing lower (clause 6: from memory). For IPX7 against IPX4 the
  standard promises nothing either way (from memory): the maker must say.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum

_CODE = re.compile(
    r"IP(?P<solids>[0-6X])(?P<water>[0-9X])(?P<additional>[A-D])?(?P<extra>H?M?S?W?)"
)


class IpCodeError(ValueError):
    """Not a code of IEC 60529."""


class Promise(Enum):
    """Whether a code promises a degree."""

    YES = "yes"
    NO = "no"
    ASK_MAKER = "ask the maker"


@dataclass(frozen=True, slots=True)
class IpPart:
    """One code of a possibly dual code.

    Parameters
    ----------
    solids : int or None
        First numeral 0 to 6; None where X.
    water : int or None
        Second numeral 0 to 9; None where X.
    additional : str or None
        A, B, C or D: access to hazardous parts only.
    extra : str
        Supplementary letters out of HMSW.
    """

    solids: int | None
    water: int | None
    additional: str | None = None
    extra: str = ""

    def __str__(self) -> str:
        first = "X" if self.solids is None else str(self.solids)
        second = "X" if self.water is None else str(self.water)
        return f"IP{first}{second}{self.additional or ''}{self.extra}"


@dataclass(frozen=True, slots=True)
class IpCode:
    """A whole marking, one part or several."""

    parts: tuple[IpPart, ...]

    def __str__(self) -> str:
        return "/".join(str(p) for p in self.parts)

    @property
    def solids(self) -> int | None:
        """Highest first numeral given, or None."""
        return max((p.solids for p in self.parts if p.solids is not None), default=None)

    @property
    def water(self) -> tuple[int, ...]:
        """All second numerals given, in order."""
        return tuple(p.water for p in self.parts if p.water is not None)

    def keeps_out_solids(self, needed: int) -> Promise:
        """Whether the first numeral reaches `needed` (0 to 6); X promises nothing."""
        solids = self.solids
        if solids is None:
            return Promise.YES if needed == 0 else Promise.ASK_MAKER
        return Promise.YES if solids >= needed else Promise.NO

    def keeps_out_fingers(self) -> Promise:
        """IPXXB or IP2X: live parts not touched by a finger."""
        for part in self.parts:
            if (part.solids or 0) >= 2 or (part.additional or "A") >= "B":
                return Promise.YES
        return Promise.ASK_MAKER if self.solids is None else Promise.NO

    def keeps_out_water(self, needed: int) -> Promise:
        """Whether the second numeral promises the degree `needed`.

        Parameters
        ----------
        needed : int
            0 to 9.

        Returns
        -------
        Promise
            `ASK_MAKER` where the code says nothing either way: X, or 7, 8, 9
            against a jet-free lower degree that it does not by itself include.
        """
        best = Promise.NO
        given = self.water
        if not given:
            return Promise.YES if needed == 0 else Promise.ASK_MAKER
        for numeral in given:
            answer = _water(numeral, needed)
            if answer is Promise.YES:
                return answer
            if answer is Promise.ASK_MAKER:
                best = answer
        return best


def _water(numeral: int, needed: int) -> Promise:
    if needed == 0 or numeral == needed:
        return Promise.YES
    if numeral <= 6:
        return Promise.YES if numeral > needed else Promise.NO
    if needed in (5, 6):
        return Promise.NO
    if numeral == 8 and needed == 7:
        # 8 is agreed to be harsher than 7.
        return Promise.YES
    if numeral < needed:
        return Promise.NO
    return Promise.ASK_MAKER


def parse_ip(text: str) -> IpCode:
    """Read an IP code.

    Parameters
    ----------
    text : str
        As printed; blanks and case do not matter (`ip 65`, `IPX5/IPX7`, `IP65/67`
        is not a code of the standard and is refused with the right spelling).

    Raises
    ------
    IpCodeError
        With the reason in words.

    Examples
    --------
    >>> str(parse_ip("ip x5/ipx7"))
    'IPX5/IPX7'
    """
    shown = text.strip()
    plain = re.sub(r"\s+", "", shown).upper()
    parts = []
    for piece in plain.split("/"):
        match = _CODE.fullmatch(piece)
        if match is None:
            raise IpCodeError(_reason(shown, plain, piece))
        parts.append(
            IpPart(
                None if match["solids"] == "X" else int(match["solids"]),
                None if match["water"] == "X" else int(match["water"]),
                match["additional"],
                match["extra"],
            )
        )
    return IpCode(tuple(parts))


def _reason(shown: str, plain: str, piece: str) -> str:
    head = f"{shown!r} is not an IP code"
    if re.fullmatch(r"\d[0-9X][A-DHMSW]*", piece):
        first = plain.split("/")[0]
        if piece != first:
            return f"{head}: write each code whole, as {first}/IP{piece}"
        return f"{head}: it must begin with IP, as IP{piece}"
    if not piece.startswith("IP"):
        return f"{head}: it must begin with IP"
    if re.fullmatch(r"IP[0-9X][0-9X]?K.*|IP[0-9X]{2}K", piece):
        return f"{head}: the letter K belongs to ISO 20653 (road vehicles), not to IEC 60529"
    if re.fullmatch(r"IP[7-9].*", piece):
        return f"{head}: the first numeral goes from 0 to 6"
    if re.fullmatch(r"IP[0-6X]", piece):
        return f"{head}: the second numeral is missing (X where it is not given)"
    if re.fullmatch(r"IP[0-6X][0-9X][A-DHMSW]+", piece):
        return f"{head}: letters come as one of A to D, then H, M, S, W in that order"
    return f"{head}: IP, two numerals (or X), then letters out of A to D and H, M, S, W"
