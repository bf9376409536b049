"""`lidoff key`: make the key that a competent person signs off with."""

from __future__ import annotations

from pathlib import Path

import click

from audit.errors import UsageError, Where
from audit.record.keys import fingerprint, load_public_key, make_key


def default_key() -> Path:
    """Where the key lies by default: the user's own configuration folder."""
    return Path(click.get_app_dir("lidoff")) / "sign-off.pem"


@click.command()
@click.argument("file", metavar="[FILE]", required=False, type=click.Path(path_type=Path))
@click.option("--show", is_flag=True, help="Say which key FILE holds; nothing is made.")
@click.option(
    "--passphrase-file",
    type=click.Path(path_type=Path),
    help="First line is the passphrase; by default it is asked for.",
)
def command(file: Path | None, show: bool, passphrase_file: Path | None) -> None:
    """Make an Ed25519 key protected by a passphrase, in FILE.

    Without FILE it goes into your own configuration folder. Beside it is
    written FILE.pub, the public half: give it to whoever is to check your
    sign-offs with `lidoff verify --key`. A key never lies in a job folder.
    """
    path = file or default_key()
    if show:
        public = load_public_key(path.with_name(f"{path.name}.pub"))
        click.echo(f"{path}\npublic key {public}\nin short {fingerprint(public)}")
        return
    signer = make_key(path, read_passphrase(passphrase_file, confirm=True))
    click.echo(f"Key: {path}\nPublic half: {path}.pub\nIn short: {fingerprint(signer.public_key)}")
    click.echo(
        "Keep the passphrase to yourself: whoever has both can sign in your name. "
        "It can't be recovered.",
        err=True,
    )


def read_passphrase(file: Path | None, *, confirm: bool = False) -> str:
    """The passphrase: from a file's first line, else asked for without showing it.

    Raises
    ------
    UsageError
        When the file can't be read.
    """
    if file is None:
        return str(
            click.prompt("Passphrase", hide_input=True, confirmation_prompt=confirm, err=True)
        )
    try:
        lines = file.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeError) as exc:
        raise UsageError("the passphrase can't be read", Where(file), "check the file") from exc
    return lines[0] if lines else ""
