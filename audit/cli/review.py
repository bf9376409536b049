"""`lidoff review`: decide every item beside its picture, on local pages."""

from __future__ import annotations

import contextlib
import os
import webbrowser
from pathlib import Path

import click

from audit.cli.key import default_key
from audit.errors import ExitCode, UsageError
from audit.review.access import Access, new_code
from audit.review.app import create_app
from audit.review.context import Review
from audit.review.desk import Desk
from audit.review.serve import Server, Tls, loopback_server, names_of, running, tls_server


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port; 0 takes a free one.")
@click.option("--no-browser", is_flag=True, help="Say the address only; open no browser.")
@click.option(
    "--second-look",
    "percent",
    type=click.FloatRange(0, 100),
    default=10.0,
    show_default=True,
    help="Per cent of the fittings that are judged before the tool's states are shown.",
)
@click.option(
    "--key",
    type=click.Path(path_type=Path),
    help="Key to sign off with; by default the one that `lidoff key` makes.",
)
@click.option(
    "--host",
    help="Serve other machines at this address too; wants --tls-cert and --tls-key.",
)
@click.option("--tls-cert", type=click.Path(path_type=Path), help="Certificate, PEM; with --host.")
@click.option("--tls-key", type=click.Path(path_type=Path), help="Its private key, PEM.")
def command(
    folder: Path,
    port: int,
    no_browser: bool,
    percent: float,
    key: Path | None,
    host: str | None,
    tls_cert: Path | None,
    tls_key: Path | None,
) -> int:
    """Decide every item of the job folder DIR beside its picture.

    DIR has been audited (`lidoff audit`). The pages are served to this
    computer alone and work with no network; with --host another machine can
    open them, over TLS and with a code that is shown here and lets one browser
    in. Everything decided is appended to DIR/record.sqlite at once. Ctrl-C
    ends it.
    """
    tls = _tls(host, tls_cert, tls_key)
    desk = Desk(Path(os.path.realpath(folder)), percent / 100)
    access = Access() if host is None else _from_afar(host)
    app = create_app(Review(desk, access, key or default_key()))
    if host is None or tls is None:
        server, port = loopback_server(app, port)
        address = f"http://127.0.0.1:{port}/"
    else:
        server, port = tls_server(app, host, port, tls)
        address = f"https://{names_of(host)[0]}:{port}/"
    click.echo(f"Review: {address}", err=True)
    if access.code_wanted:
        access.tell_code(access.code)
    if host is None and not no_browser:
        webbrowser.open(address)
    return _serve(server)


def _tls(host: str | None, certificate: Path | None, key: Path | None) -> Tls | None:
    if host is None:
        if certificate or key:
            raise UsageError("--tls-cert and --tls-key go with --host", next_step="give --host too")
        return None
    if certificate is None or key is None:
        raise UsageError(
            "--host serves other machines, and so wants --tls-cert and --tls-key",
            next_step="give both, or leave --host out",
        )
    return Tls(certificate, key)


def _from_afar(host: str) -> Access:
    def tell(code: str) -> None:
        fours = "-".join(code[i : i + 4] for i in range(0, len(code), 4))
        click.echo(f"Code for one browser: {fours}", err=True)

    return Access(hosts=names_of(host), code_wanted=True, tell_code=tell, code=new_code())


def _serve(server: Server) -> int:
    """Serve until Ctrl-C, which is how a review ends."""
    with running(server), contextlib.suppress(KeyboardInterrupt):
        server.run()
    click.echo("lidoff: ended; everything decided is in the record", err=True)
    return ExitCode.DONE
