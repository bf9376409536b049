"""Which fitting each photo belongs to, found out before and after the photos are read.

What is declared of a fitting helps to read its photos, and the card in a
photo may be what tells the fitting. So time and label are read first, from
those photos alone that neither an entry nor their name places.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from audit.batch.cache import file_sha256
from audit.batch.executor import Died, Executor
from audit.batch.photos import LookTask
from audit.batch.tags import TagTask, tag_task
from audit.checklist.seen import LinkedPhoto
from audit.job.facts import Fitting
from audit.job.files import PHOTOS
from audit.job.label import Link, Linking, PhotoTag, link_photos
from audit.job.read import Job
from audit.measure.contract import LookRecord
from audit.measure.declared import Declared
from audit.settings import Settings


def file_name(path: str) -> str:
    """Path of a photo within `photos/`, as the checklist names it."""
    return path.removeprefix(f"{PHOTOS}/")


def first_tags(job: Job, executor: Executor) -> Iterator[tuple[str, PhotoTag]]:
    """Hash every photo; read time and label where some photo has no fitting yet.

    Parameters
    ----------
    job : Job
    executor : Executor

    Yields
    ------
    (str, PhotoTag)
        Path of the photo and its tag; each photo once.
    """
    tags = {p.path: PhotoTag(sha256=file_sha256(job.root / p.path)) for p in job.photos}
    linking = link_photos(job, tags)
    bare = {x.photo for x in linking.links if x.outcome == "unlabelled"}
    if not bare:
        yield from tags.items()
        return
    paths = list(tags)
    tasks = [TagTask(job.root / p, job.settings, p in bare) for p in paths]
    for index, tag in executor.run(tag_task, tasks):
        known = tags[paths[index]]
        yield paths[index], known if isinstance(tag, Died) else replace(tag, sha256=known.sha256)


def declared_for(fitting: Fitting | None, link: Link) -> Declared:
    """What the job declares about the thing a photo shows."""
    if fitting is None:
        return Declared(view=link.view)
    sheath = fitting.sheath if fitting.sheath in ("grey", "white", "black") else None
    return Declared(
        cable_size=fitting.cable,
        cables=fitting.cables,
        factory_lead=fitting.factory_lead,
        sheath=sheath,
        view=link.view,
        cpc_expected=fitting.cpc_in_cable,
    )


def look_tasks(job: Job, linking: Linking, settings: Settings) -> list[LookTask]:
    """One task for each photo of the job, in the job's order."""
    tasks = []
    for link in linking.links:
        fitting = job.facts.fitting(link.label) if counts(link) and link.label else None
        path = job.root / link.photo
        tasks.append(
            LookTask(
                path=path,
                name=file_name(link.photo),
                settings=settings,
                marks=_marks(job, link.photo),
                declared=declared_for(fitting, link),
            )
        )
    return tasks


def _marks(job: Job, photo: str) -> tuple:  # type: ignore[type-arg]
    if not job.marks:
        return ()
    sha256 = file_sha256(job.root / photo) or ""
    return tuple(m for m in job.marks if m.holds_for(photo, sha256))


def counts(link: Link) -> bool:
    """Whether a photo is shown under its fitting: linked, or the copy of one that is."""
    return link.outcome == "linked" or (link.outcome == "duplicate" and not link.confirm)


def linked_photos(
    linking: Linking, records: Mapping[str, LookRecord], tags: Mapping[str, PhotoTag]
) -> list[LinkedPhoto]:
    """Bring links and records together, in the job's order; each photo once."""
    photos = []
    for link in linking.links:
        taken = tags[link.photo].taken
        photos.append(
            LinkedPhoto(
                file=file_name(link.photo),
                record=records[link.photo],
                fitting=link.label if counts(link) else None,
                view=link.view,
                linked_by=link.how or "none",
                notes=_notes(link),
                cables_in_picture=link.cables_in_picture,
                taken=taken.isoformat() if taken else None,
                duplicate=link.outcome == "duplicate",
                sure=not link.confirm,
            )
        )
    assert len(photos) == len(records), "N photos in must be N outcomes out"
    return photos


def _notes(link: Link) -> tuple[str, ...]:
    if link.outcome == "linked" and not link.confirm:
        return ()
    if link.outcome == "linked":
        return (f"to be confirmed: {link.why}",)
    return (f"{link.outcome.replace('-', ' ')}: {link.why}",)
