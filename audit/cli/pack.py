"""`lidoff pack`: one file with report, photos, record and signatures, for whoever needs it."""

from __future__ import annotations

from pathlib import Path

import click

from audit.batch.atomic import writing
from audit.cli._told import printable
from audit.cli.key import read_passphrase
from audit.job.read import load_job
from audit.record.evidence import load_evidence
from audit.record.keys import load_key
from audit.record.record import Record
from audit.report.pack import PackOptions, make_pack


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="The file to write; by default DIR/out/pack.zip.",
)
@click.option(
    "--keep-metadata",
    is_flag=True,
    help="Leave place, time and device in the photos; by default they are taken out.",
)
@click.option(
    "--sign", "key_file", type=click.Path(path_type=Path), help="Key to sign the whole pack with."
)
@click.option(
    "--passphrase-file",
    type=click.Path(path_type=Path),
    help="First line is the key's passphrase; by default it is asked for.",
)
def command(
    folder: Path,
    out: Path | None,
    keep_metadata: bool,
    key_file: Path | None,
    passphrase_file: Path | None,
) -> None:
    """Pack the job folder DIR, whose checklist was made with `lidoff audit`.

    The pack holds report.pdf, checklist.json, items.csv, photos bare and
    annotated, the record and the signatures. The same record gives the same
    bytes. Exit code 4: the job does not hold against its record, and nothing
    was written.
    """
    job_folder = load_job(folder)
    signer = None
    if key_file is not None:
        signer = load_key(key_file, read_passphrase(passphrase_file))
    job = load_evidence(job_folder.root)
    record = Record.open(job_folder.root, job=job.checklist.job.name)
    record.adopt(job)
    target = out or job_folder.root / "out" / "pack.zip"
    options = PackOptions(keep_metadata, signer, job_folder.settings)
    with writing(target) as file:
        packed = make_pack(record, job, file, options)
    for name, why in packed.left_out:
        click.echo(f"lidoff: photos/{printable(name)}: left out, {printable(why)}", err=True)
    for warning in packed.warnings:
        click.echo(f"lidoff: note: report: {printable(warning)}", err=True)
    click.echo(f"Pack: {target} ({packed.entries} entries, {packed.photos} photos)")
