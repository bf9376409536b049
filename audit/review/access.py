"""Who may talk to the pages: trusted hosts, own origin, one-time code, bounds, strict headers.

A page on the web that a reviewer has open in another tab can send requests to
this computer. Host names are checked against those that were started with
(against DNS rebinding), writes must come from our own origin (Origin header,
RFC 6454, and Fetch Metadata where the browser sends it) and carry JSON, which
no plain form can send.
"""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from flask import Flask, Response, abort, redirect, request, session, url_for
from flask_limiter import Limiter
from flask_limiter.util import get_remote_address
from werkzeug.wrappers import Response as BaseResponse

MAX_BODY = 256 * 1024
"""Bytes; the largest request is a set of marks."""
LIMITS = ("1200 per minute", "120 per second")
WRITE_LIMIT = "240 per minute"
SECRET_LIMIT = "6 per minute"
"""For what could be guessed: the code and the passphrase."""
COSTLY_LIMIT = "12 per minute"
_CODE_LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
_CODE_LENGTH = 16
_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; "
        "connect-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), usb=()",
}


def new_code() -> str:
    """A code to type or follow once: 16 letters and digits that can't be mistaken, 79 bits."""
    return "".join(secrets.choice(_CODE_LETTERS) for _ in range(_CODE_LENGTH))


@dataclass
class Access:
    """How the pages may be reached.

    Parameters
    ----------
    hosts : tuple of str
        Host names that requests may name; a port is not looked at.
    code_wanted : bool
        Whether a browser has to give a one-time code first.
    tell_code : callable
        Shows a fresh code to whoever sits at the terminal; called after each use.
    """

    hosts: tuple[str, ...] = ("127.0.0.1", "localhost", "[::1]")
    code_wanted: bool = False
    tell_code: Callable[[str], None] = lambda code: None
    code: str = field(default_factory=new_code)
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False)

    def use(self, given: str) -> bool:
        """Use the code up; the next browser needs another one."""
        plain = "".join(given.split()).replace("-", "").upper()
        with self._lock:
            if not secrets.compare_digest(plain.encode(), self.code.encode()):
                return False
            self.code = new_code()
        self.tell_code(self.code)
        return True


def protect(app: Flask, access: Access) -> Limiter:
    """Put every guard before and after the routes of an application.

    Parameters
    ----------
    app : flask.Flask
    access : Access

    Returns
    -------
    flask_limiter.Limiter
        For routes that want a tighter bound.
    """
    app.config["TRUSTED_HOSTS"] = list(access.hosts)
    app.config["MAX_CONTENT_LENGTH"] = MAX_BODY
    app.config["SECRET_KEY"] = secrets.token_bytes(32)
    # Cookies don't know ports: two jobs reviewed at once must not share one.
    app.config["SESSION_COOKIE_NAME"] = f"lidoff-{secrets.token_hex(4)}"
    app.config["SESSION_COOKIE_SAMESITE"] = "Strict"
    app.config["SESSION_COOKIE_HTTPONLY"] = True
    app.config["SESSION_COOKIE_SECURE"] = access.code_wanted

    @app.before_request
    def guard() -> BaseResponse | None:
        _refuse_foreign()
        if access.code_wanted and not session.get("in") and not _open_to_all():
            if request.method != "GET" or request.path.startswith("/do/"):
                abort(401)
            return redirect(url_for("door.enter"))
        return None

    @app.after_request
    def headers(response: Response) -> Response:
        for name, text in _HEADERS.items():
            response.headers[name] = text
        response.headers.setdefault("Cache-Control", "no-store")
        return response

    return Limiter(
        get_remote_address, app=app, default_limits=list(LIMITS), storage_uri="memory://"
    )


def _open_to_all() -> bool:
    return request.endpoint in ("door.enter", "door.let_in", "static")


def _refuse_foreign() -> None:
    """Refuse what another site's page sends, and writes that don't say where they come from."""
    site = request.headers.get("Sec-Fetch-Site")
    if request.method in ("GET", "HEAD", "OPTIONS"):
        # A link followed from elsewhere shows a page and changes nothing.
        if site in ("cross-site", "same-site") and not _navigates():
            abort(403, "asked for by another site")
        return
    if site not in (None, "same-origin"):
        abort(403, "sent by another site")
    if request.headers.get("Origin") != request.host_url.rstrip("/"):
        abort(403, "sent by another site, or by no page")
    if request.mimetype != "application/json":
        abort(415, "only JSON is taken")


def _navigates() -> bool:
    return request.headers.get("Sec-Fetch-Mode") == "navigate"
