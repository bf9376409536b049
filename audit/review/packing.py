"""The pack of a job, made for download."""

from __future__ import annotations

from pathlib import Path


def make_pack(root: Path, target: Path) -> None:
    """Write the pack of a job folder.

    Parameters
    ----------
    root : pathlib.Path
    target : pathlib.Path
        The file to write.
    """
    raise NotImplementedError
