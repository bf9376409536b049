"""Who may talk to the pages, and what they never give away."""

from __future__ import annotations

import re
import socket
import threading
import urllib.request
import uuid
from pathlib import Path

import pytest

from audit.cli.review import command
from audit.errors import ResourceError, UsageError
from audit.review.access import MAX_BODY, Access
from audit.review.app import create_app
from audit.review.context import Review
from audit.review.desk import Desk
from audit.review.serve import LOOPBACK, Tls, loopback_server, names_of, tls_server
from tests.review.conftest import OWN, Enter, Pages

PAGES = ("/", "/you", "/requests", "/second-look", "/sign-off/boarding", "/sign-off/closing-up")


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "evil.example:80", "[::2]"]
)
def test_a_foreign_host_name_gets_nothing(pages: Pages, host: str) -> None:
    """DNS rebinding: a page elsewhere whose name now leads to this computer."""
    answer = pages.get("/", headers={"Host": host})
    assert answer.status_code == 400
    assert "Two rooms" not in answer.get_data(as_text=True)


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "null"},
        {"Origin": "https://evil.example"},
        {"Origin": "https://localhost"},
        {"Origin": "http://localhost:81"},
        {"Origin": "http://localhost", "Sec-Fetch-Site": "cross-site"},
        {"Origin": "http://localhost", "Sec-Fetch-Site": "same-site"},
        {"Origin": "http://localhost", "Sec-Fetch-Site": "none"},
    ],
)
def test_writes_come_from_our_own_pages_alone(pages: Pages, headers: dict[str, str]) -> None:
    seq = len(pages.desk.record.entries())
    body = {"name": "Mallory", "key": uuid.uuid4().hex}
    assert pages.client.post("/do/name", json=body, headers=headers).status_code == 403
    assert len(pages.desk.record.entries()) == seq


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", ""])
def test_writes_carry_json_which_no_form_can_send(pages: Pages, kind: str) -> None:
    answer = pages.client.post("/do/name", data='{"name": "M"}', content_type=kind, headers=OWN)
    assert answer.status_code == 415


def test_no_other_page_can_embed_or_read_ours(pages: Pages) -> None:
    for site in ("cross-site", "same-site"):
        headers = {"Sec-Fetch-Site": site, "Sec-Fetch-Mode": "no-cors"}
        assert pages.get("/", headers=headers).status_code == 403
    followed = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}
    assert pages.get("/", headers=followed).status_code == 200


@pytest.mark.parametrize("path", [*PAGES, "/nowhere", "/static/review.css", "/do/decide"])
def test_every_answer_carries_the_strict_headers(pages: Pages, path: str) -> None:
    headers = pages.get(path).headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert headers["Referrer-Policy"] == "no-referrer"


def test_pages_hold_no_inline_script_style_or_foreign_address(pages: Pages) -> None:
    paths = list(PAGES)
    paths += [f"/at/{s}" for s in pages.desk.basis().subjects]
    paths += [f"/marks/{k}" for k in pages.desk.basis().photos]
    for path in paths:
        text = pages.get(path).get_data(as_text=True)
        assert not re.search(r"<script(?![^>]*\bsrc=)", text), path
        assert not re.search(r"\son[a-z]+\s*=|\sstyle\s*=|<style", text), path
        foreign = re.findall(r'(?:src|href|action)="(?!/|#)[^"]*"', text)
        assert not foreign, path


def test_names_with_markup_are_text(pages: Pages) -> None:
    text = pages.get("/").get_data(as_text=True)
    assert "Two rooms &lt;b&gt;&amp; a hall&lt;/b&gt;" in text
    assert "<b>&" not in text


def test_a_reviewers_name_with_markup_is_text(enter: Enter) -> None:
    text = enter('<img src=x onerror=alert(1)>"').get("/").get_data(as_text=True)
    assert "<img src=x" not in text
    assert "&lt;img src=x" in text


@pytest.mark.parametrize(
    "to",
    ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:alert(1)", "/a\nb"],
)
def test_the_way_back_never_leads_elsewhere(pages: Pages, to: str) -> None:
    text = pages.get("/you", query_string={"to": to}).get_data(as_text=True)
    assert 'data-then="/"' in text


def test_too_large_a_body_is_refused(pages: Pages) -> None:
    body = '{"name": "' + "x" * (MAX_BODY + 1) + '"}'
    answer = pages.client.post("/do/name", data=body, content_type="application/json", headers=OWN)
    assert answer.status_code == 413


def test_too_many_requests_are_refused(desk: Desk) -> None:
    client = create_app(Review(desk)).test_client()
    codes = [client.get("/you").status_code for _ in range(200)]
    assert codes[0] == 200
    assert 429 in codes


def test_a_fault_of_ours_shows_no_traceback(pages: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("secret detail in /some/path")

    monkeypatch.setattr(pages.desk, "basis", broken)
    answer = pages.get("/")
    text = answer.get_data(as_text=True)
    assert answer.status_code == 500
    assert "Traceback" not in text
    assert "secret detail" not in text


class TestCode:
    """Another machine needs the code that stands in the terminal; each lets one browser in."""

    @pytest.fixture
    def told(self) -> list[str]:
        return []

    @pytest.fixture
    def app_of(self, desk: Desk, told: list[str]) -> tuple[Access, object]:
        access = Access(hosts=("localhost",), code_wanted=True, tell_code=told.append)
        return access, create_app(Review(desk, access), bounded=True)

    def test_nothing_is_shown_without_it(self, app_of: tuple[Access, object]) -> None:
        client = app_of[1].test_client()  # type: ignore[attr-defined]
        for path in (*PAGES, "/nowhere", "/photo/0/full", "/pack"):
            answer = client.get(path)
            assert answer.headers["Location"].endswith("/enter")
        body = {"name": "M", "key": uuid.uuid4().hex}
        assert client.post("/do/name", json=body, headers=OWN).status_code == 401

    def test_it_lets_one_browser_in_and_is_used_up(
        self, app_of: tuple[Access, object], told: list[str]
    ) -> None:
        access, app = app_of
        code = access.code
        first, second = app.test_client(), app.test_client()  # type: ignore[attr-defined]
        typed = f" {code[:4].lower()}-{code[4:]} "
        https = {"base_url": "https://localhost", "headers": {"Origin": "https://localhost"}}
        assert first.post("/do/enter", json={"code": typed}, **https).status_code == 200
        assert first.get("/you", base_url="https://localhost").status_code == 200
        assert second.post("/do/enter", json={"code": code}, **https).status_code == 403
        assert told == [access.code]
        assert access.code != code

    def test_the_cookie_is_kept_from_scripts_and_plain_connections(
        self, app_of: tuple[Access, object]
    ) -> None:
        access, app = app_of
        client = app.test_client()  # type: ignore[attr-defined]
        answer = client.post(
            "/do/enter",
            json={"code": access.code},
            base_url="https://localhost",
            headers={"Origin": "https://localhost"},
        )
        cookie = answer.headers["Set-Cookie"]
        for flag in ("Secure", "HttpOnly", "SameSite=Strict"):
            assert flag in cookie

    def test_it_can_t_be_guessed_at_leisure(self, app_of: tuple[Access, object]) -> None:
        client = app_of[1].test_client()  # type: ignore[attr-defined]
        codes = [
            client.post("/do/enter", json={"code": f"A{n}"}, headers=OWN).status_code
            for n in range(12)
        ]
        assert codes.count(403) <= 6
        assert codes[-1] == 429


class TestServing:
    """Bound to this computer, or to another over TLS alone."""

    def test_loopback_alone(self, desk: Desk) -> None:
        server, port = loopback_server(create_app(Review(desk)), 0)
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/you", timeout=10) as answer:
                assert b"Who is reviewing" in answer.read()
                assert LOOPBACK == "127.0.0.1"
            with socket.socket() as other:
                other.settimeout(2)
                # 127.0.0.2 is this computer too, but not the address that was bound.
                assert other.connect_ex(("127.0.0.2", port)) != 0
        finally:
            server.close()
            thread.join(5)

    def test_a_taken_port_is_told(self, desk: Desk) -> None:
        app = create_app(Review(desk))
        server, port = loopback_server(app, 0)
        try:
            with pytest.raises(ResourceError, match=str(port)):
                loopback_server(app, port)
        finally:
            server.close()

    def test_useless_tls_files_are_told(self, desk: Desk, tmp_path: Path) -> None:
        bad = tmp_path / "c.pem"
        bad.write_text("nothing")
        with pytest.raises(UsageError, match="certificate"):
            tls_server(create_app(Review(desk)), "127.0.0.1", 0, Tls(bad, bad))

    def test_another_machine_needs_tls(self, job: Path) -> None:
        for args in (["--host", "127.0.0.1"], ["--tls-cert", "c.pem"]):
            with pytest.raises(UsageError, match="--host"):
                command.main([str(job), *args], standalone_mode=False)

    def test_host_names(self) -> None:
        assert names_of("::1") == ("[::1]",)
        assert names_of("box.example") == ("box.example",)
        assert socket.gethostname() in names_of("0.0.0.0")
