"""10,000 malformed requests: never a fault of ours, no file outside, nothing decided."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

from werkzeug.test import EnvironBuilder, run_wsgi_app

from audit.review.desk import item_key, slug
from audit.review.pictures import photo_key
from tests.review.conftest import Pages

SEED = 20261125
REQUESTS = 10_000
METHODS = ("GET", "POST", "PUT", "DELETE", "PATCH", "HEAD", "OPTIONS", "TRACE", "", "G\tT", "post")
ODD: tuple[Any, ...] = (
    None, True, 0, -1, 1e308, 2**80, "", " ", "\0", "\u202e", "\ud800", "x" * 5000, [], {}, [[]],
    {"a": {}}, "../../etc/passwd", "..\\..", "%2e%2e%2f", "/etc/passwd", "file:///etc/passwd",
    "agree", "overrule", "'; DROP TABLE entry; --", "<script>", "{{7*7}}", "9" * 400, "a\r\nb: c",
    ["a"] * 200, "2026-13-45", "NaN", "c1", "grip", [["x", 1], [2, 3]], [[1e400, 0], [0, 0]],
)  # fmt: skip
FIELDS = (
    "item", "digest", "key", "saw", "choice", "reason", "finds", "request", "who", "when", "note",
    "photos", "photo", "sha256", "marks", "code", "name", "judged", "hold_point", "statement",
    "passphrase", "__proto__", "extra",
)  # fmt: skip
ACTS = (
    "decide", "undo", "shown", "judge", "marks/try", "name", "enter", "sign", "none",
)  # fmt: skip


class Fuzzer:
    """Makes one request after the other; the same seed, the same requests."""

    def __init__(self, pages: Pages) -> None:
        self.rng = random.Random(SEED)
        basis = pages.desk.basis()
        item = pages.item("core-outside-grip", "F01")
        photo = next(iter(basis.photos.values()))
        self.real: tuple[Any, ...] = (
            item_key(item.id), item.id, photo_key(photo.file), photo.sha256, photo.file,
            slug("fitting", "F01"), pages.standing(item).digest, "closing-up", "fault",
        )  # fmt: skip

    def value(self) -> Any:
        return self.rng.choice(self.real if self.rng.random() < 0.35 else ODD)

    def text(self) -> str:
        rng = self.rng
        made = rng.choice((
            lambda: str(self.value())[:300],
            lambda: "".join(chr(rng.randrange(1, 0x3FF)) for _ in range(rng.randrange(1, 40))),
            lambda: "/".join([".."] * rng.randrange(1, 9)) + "/job.toml",
            lambda: "%2e%2e%2f" * rng.randrange(1, 9) + "etc/passwd",
        ))()  # fmt: skip
        return made.encode("utf-8", "replace").decode()

    def path(self) -> str:
        return self.rng.choice((
            lambda: f"/at/{self.text()}",
            lambda: f"/at/{self.text()}/{self.text()}",
            lambda: f"/photo/{self.text()}/{self.rng.choice(('full', 'screen', 'small', self.text()))}",
            lambda: f"/marks/{self.text()}",
            lambda: f"/second-look/{self.text()}",
            lambda: f"/sign-off/{self.text()}",
            lambda: f"/static/{self.text()}",
            lambda: f"/do/{self.rng.choice(ACTS)}",
            lambda: f"/do/{self.rng.choice(ACTS)}",
            lambda: f"/do/{self.rng.choice(ACTS)}",
            lambda: "/" + self.text(),
            lambda: "/news",
            lambda: "/pack",
        ))()  # fmt: skip

    def body(self) -> bytes:
        rng = self.rng
        if rng.random() < 0.2:
            return bytes(rng.randrange(256) for _ in range(rng.randrange(300)))
        if rng.random() < 0.05:
            return b"[" * 100_000
        made: Any = {f: self.value() for f in rng.sample(FIELDS, rng.randrange(len(FIELDS)))}
        if rng.random() < 0.1:
            made = self.value()
        data = json.dumps(made).encode("utf-8", "replace")
        if rng.random() < 0.2 and data:
            at = rng.randrange(len(data))
            data = data[:at] + bytes([rng.randrange(256)]) + data[at + 1 :]
        return data

    def headers(self) -> list[tuple[str, str]]:
        rng = self.rng
        found = [("Origin", "http://localhost")] if rng.random() < 0.8 else []
        for name in ("Host", "Origin", "Content-Length", "Range", "If-None-Match", "Cookie",
                     "Sec-Fetch-Site", "Accept", "X-Forwarded-Host", "If-Modified-Since"):  # fmt: skip
            if rng.random() < 0.03:
                odd = "".join(c for c in self.text() if 32 <= ord(c) < 127)
                found.append((name, odd))
        return found

    def environ(self, cookie: str) -> dict[str, Any]:
        method = self.rng.choice(METHODS[:2] if self.rng.random() < 0.85 else METHODS)
        path = self.path()
        if path.startswith("/do/"):
            method = "POST" if self.rng.random() < 0.95 else method
        builder = EnvironBuilder(
            path="/", method=method or "GET", query_string={"v": self.text(), "at": self.text()},
            headers=self.headers(),
        )  # fmt: skip
        if method == "POST":
            builder.input_stream = None
            builder.data = self.body()
            odd = self.rng.random() < 0.1
            builder.content_type = "text/plain" if odd else "application/json"
        environ = builder.get_environ()
        environ["PATH_INFO"] = path.encode("utf-8", "replace").decode("latin-1")
        environ["REQUEST_METHOD"] = method
        environ.setdefault("HTTP_COOKIE", cookie)
        return environ


def _stamps(folder: Path) -> dict[str, int]:
    return {
        str(p): p.stat().st_mtime_ns
        for p in folder.rglob("*")
        if p.is_file() and not p.is_relative_to(folder / "job")
    }


def test_malformed_requests_do_no_harm(pages: Pages, tmp_path: Path) -> None:
    (tmp_path / "outside.txt").write_text("outside the job")
    item = pages.item("core-outside-grip", "F01")
    pages.show(item)
    assert pages.decide(item, "agree").status_code == 200
    kept = pages.desk.record.entries()
    outside = _stamps(tmp_path)
    fuzzer = Fuzzer(pages)
    # One reviewer has signed in, so that requests reach what lies behind the door.
    app = pages.client.application
    cookie = pages.client.get_cookie(app.config["SESSION_COOKIE_NAME"])
    assert cookie is not None
    codes: dict[int, int] = {}
    for _ in range(REQUESTS):
        environ = fuzzer.environ(f"{cookie.key}={cookie.value}")
        pieces, status, _ = run_wsgi_app(app, environ, buffered=True)
        data, code = b"".join(pieces), int(status.split()[0])
        codes[code] = codes.get(code, 0) + 1
        assert code < 500, (environ["REQUEST_METHOD"], environ["PATH_INFO"])
        assert b"root:" not in data
        assert b"outside the job" not in data
    after = pages.desk.record.entries()
    assert after[: len(kept)] == kept
    assert not [e for e in after[len(kept) :] if e.kind in ("decision", "undo", "sign-off", "mark")]
    assert pages.standing(item).finds_fault
    assert _stamps(tmp_path) == outside
    # The requests got past the outermost guard in numbers: refused for what they say.
    assert codes[422] > 1000
    assert codes[404] > 1000
    assert codes[200] > 100
