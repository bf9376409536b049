"""What may go wrong with the record: each in one line, with the next step."""

from __future__ import annotations

from audit.errors import ExitCode, LidoffError, RecordError, Where
from audit.record.types import Standing

__all__ = ["ConflictError", "DecisionError", "KeyReusedError", "NotShownError", "broken"]


class DecisionError(LidoffError):
    """What was asked for can't be recorded; nothing was written."""

    exit_code = ExitCode.USAGE


class NotShownError(DecisionError):
    """An item of weight stop was not yet open with its photo on screen."""


class KeyReusedError(DecisionError):
    """The key of one act was sent with another act."""


class ConflictError(DecisionError):
    """The item stands otherwise than it did on screen.

    Parameters
    ----------
    standing : Standing
        How it stands now.
    """

    def __init__(self, standing: Standing) -> None:
        super().__init__(
            "somebody decided this in the meantime",
            Where(None, None, standing.item.id),
            "look at the present decision, then decide again",
        )
        self.standing = standing

    def __reduce__(self) -> tuple[type[ConflictError], tuple[Standing]]:  # type: ignore[override]
        return (type(self), (self.standing,))


def broken(seq: int | None, what: str, file: str = "record.sqlite") -> RecordError:
    """An error that names the entry that does not hold.

    Parameters
    ----------
    seq : int or None
        Number of the entry, from 1; None where it is not about an entry.
    what : str
    file : str
    """
    said = what if seq is None else f"entry {seq}: {what}"
    return RecordError(
        said, Where(file), "keep a copy of the folder as it is, and go back to the last pack"
    )
