"""Serving the pages: on this computer by waitress, to another one over TLS by cheroot."""

from __future__ import annotations

import socket
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from cheroot.ssl.builtin import BuiltinSSLAdapter
from cheroot.wsgi import Server as TlsServer
from flask import Flask
from waitress.server import create_server

from audit.errors import ResourceError, UsageError, Where
from audit.review.access import MAX_BODY

LOOPBACK = "127.0.0.1"
_THREADS = 8
_MAX_HEADER = 32 * 1024
_SLOW_S = 30
"""How long a client may take to send a request."""


class Server(Protocol):
    """A server that is bound and not yet running."""

    def run(self) -> None:
        """Serve until stopped."""

    def close(self) -> None:
        """Stop serving."""


@dataclass(frozen=True)
class Tls:
    """Certificate and private key, PEM."""

    certificate: Path
    key: Path


def loopback_server(app: Flask, port: int) -> tuple[Server, int]:
    """Bind to this computer alone.

    Parameters
    ----------
    app : Flask
    port : int
        0 takes a free one.

    Returns
    -------
    (Server, int)
        And the port.

    Raises
    ------
    ResourceError
        When the port is taken.
    """
    try:
        server = create_server(
            app,
            host=LOOPBACK,
            port=port,
            threads=_THREADS,
            ident="lidoff",
            max_request_header_size=_MAX_HEADER,
            max_request_body_size=MAX_BODY * 2,  # the application itself says what is too much
            channel_timeout=_SLOW_S,
            connection_limit=100,
            clear_untrusted_proxy_headers=True,
        )
    except OSError as exc:
        raise _taken(LOOPBACK, port, exc) from exc
    return server, int(server.effective_port)


def tls_server(app: Flask, host: str, port: int, tls: Tls) -> tuple[Server, int]:
    """Bind to an address that other machines reach, with TLS 1.2 or newer.

    Raises
    ------
    UsageError
        When certificate or key can't be used.
    ResourceError
        When the address can't be bound.
    """
    try:
        adapter = BuiltinSSLAdapter(str(tls.certificate), str(tls.key))
        adapter.context.minimum_version = ssl.TLSVersion.TLSv1_2
    except (OSError, ValueError) as exc:
        raise UsageError(
            f"this certificate and key can't be used ({exc})",
            Where(tls.certificate),
            "give PEM files that belong together",
        ) from exc
    server = TlsServer(
        (host, port), app, numthreads=_THREADS, server_name="lidoff", timeout=_SLOW_S
    )
    server.max_request_header_size = _MAX_HEADER
    server.max_request_body_size = MAX_BODY * 2
    server.ssl_adapter = adapter
    try:
        server.prepare()
    except OSError as exc:
        raise _taken(host, port, exc) from exc
    return _Cheroot(server), int(server.bind_addr[1])


@dataclass(frozen=True)
class _Cheroot:
    server: TlsServer

    def run(self) -> None:
        self.server.serve()

    def close(self) -> None:
        self.server.stop()


def _taken(host: str, port: int, exc: OSError) -> ResourceError:
    return ResourceError(
        f"{host} port {port} can't be used ({exc.strerror or exc})",
        next_step="choose another with --port, or leave it out",
    )


@contextmanager
def running(server: Server) -> Iterator[None]:
    """Close a server however the block ends."""
    try:
        yield
    finally:
        server.close()


def names_of(host: str) -> tuple[str, ...]:
    """Host names that requests to an address may carry."""
    wild = host in ("0.0.0.0", "::")
    names = [socket.gethostname(), socket.getfqdn()] if wild else [host]
    if wild:
        names += _addresses()
    return tuple(dict.fromkeys(f"[{n}]" if ":" in n else n for n in names if n))


def _addresses() -> list[str]:
    try:
        found = socket.getaddrinfo(socket.gethostname(), None)
    except OSError:
        return []
    return [str(entry[4][0]) for entry in found]
