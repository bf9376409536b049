"""What `lidoff audit` and `lidoff demo` say on stdout when the checklist is written."""

from __future__ import annotations

import click

from audit.batch.audit import Audited
from audit.checklist.models import Checklist, Item


def tell(audited: Audited) -> None:
    """Say what stops the closing-up, how much is open, and where the checklist is."""
    checklist = audited.checklist
    by_id = {i.id: i for i in checklist.items}
    stops = [by_id[i] for i in checklist.summary.stops]
    if stops:
        click.echo(f"{len(stops)} of weight stop are flagged: do not close up.")
        for item in stops:
            click.echo(f"  {printable(_where(item))}: {printable(item.question)}")
    counts = checklist.summary.items
    click.echo(
        f"{counts.flag} flag, {counts.unsure} unsure, {counts.missing} missing, "
        f"{counts.clear} no fault seen; {_photos(checklist)}."
    )
    click.echo("Unconfirmed until a competent person has decided every item. It certifies nothing.")
    click.echo(f"Checklist: {audited.html_file}")


def tell_problems(checklist: Checklist) -> None:
    """Say on stderr which photos could not be read or placed, one line each."""
    for photo in checklist.photos:
        if photo.look.outcome == "failed":
            reason = "; ".join(photo.look.reasons) or "it can't be read"
            click.echo(f"lidoff: photos/{printable(photo.file)}: {printable(reason)}", err=True)
        elif photo.fitting is None:
            reason = "; ".join(photo.notes)
            click.echo(f"lidoff: photos/{printable(photo.file)}: {printable(reason)}", err=True)


def printable(text: str) -> str:
    """A text without characters that could steer a terminal."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def _where(item: Item) -> str:
    return "The job" if item.subject.kind == "job" else f"{item.subject.kind} {item.subject.id}"


def _photos(checklist: Checklist) -> str:
    counts = checklist.summary.photos
    return (
        f"{sum(counts.values())} photos: {counts['read']} read, {counts['retake']} to take again, "
        f"{counts['failed']} that can't be read"
    )
