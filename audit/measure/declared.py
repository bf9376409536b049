"""What the job declares about the thing a photo shows; every field may be unknown."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Declared:
    """Facts that help or limit the reading of one photo.

    Parameters
    ----------
    cable_size : str or None
        As in `models/cables.toml`, for instance `1.5 T&E`.
    cables, terminals : int or None
        How many cables enter, how many terminals hold a core.
    factory_lead : bool or None
        The cable is the maker's own lead.
    sheath : str or None
        `grey`, `white` or `black`.
    view : str or None
        One of the views of a photo.
    cpc_expected : bool or None
        Whether the cable is declared to have a CPC.
    """

    cable_size: str | None = None
    cables: int | None = None
    terminals: int | None = None
    factory_lead: bool | None = None
    sheath: str | None = None
    view: str | None = None
    cpc_expected: bool | None = None
