"""What a stored model tells of the photos it was grown from."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from pathlib import Path


def provenance(command: str, photos: Sequence[Path], options: str) -> str:
    """What is told, as TOML, of trees that a command grew from photos: how many, of which families, how."""
    names = sorted(p.name for p in photos)
    return (
        f"# Written by `lidoff {command}`; do not edit by hand.\n"
        f"photos = {len(names)}\n"
        f"families = {json.dumps(sorted({n.split('-')[0] for n in names}))}\n"
        f'photo_names_sha256 = "{names_digest(names)}"\n'
        'source = "our own renders (Apache-2.0), sample_images/scenes; nothing else"\n'
        f'options = "{options}"\n'
    )


def names_digest(names: Sequence[str]) -> str:
    """SHA-256 of file names, sorted by whoever asks, one after another."""
    return hashlib.sha256("".join(names).encode()).hexdigest()
