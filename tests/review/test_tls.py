"""The pages over TLS, with a certificate made here."""

from __future__ import annotations

import ssl
import threading
import urllib.error
import urllib.request
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID

from audit.review.access import Access
from audit.review.app import create_app
from audit.review.context import Review
from audit.review.desk import Desk
from audit.review.serve import Tls, tls_server


def _certificate(folder: Path) -> Tls:
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "127.0.0.1")])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ip_address("127.0.0.1"))]), False
        )
        .sign(key, hashes.SHA256())
    )
    tls = Tls(folder / "c.pem", folder / "k.pem")
    tls.certificate.write_bytes(made.public_bytes(Encoding.PEM))
    pem = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    tls.key.write_bytes(pem)
    return tls


def test_the_code_is_asked_for_over_tls(desk: Desk, tmp_path: Path) -> None:
    tls = _certificate(tmp_path)
    access = Access(hosts=("127.0.0.1",), code_wanted=True)
    server, port = tls_server(create_app(Review(desk, access)), "127.0.0.1", 0, tls)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        trust = ssl.create_default_context(cafile=str(tls.certificate))
        with urllib.request.urlopen(f"https://127.0.0.1:{port}/", context=trust, timeout=10) as got:
            assert got.url.endswith("/enter")
            assert b"Type the code" in got.read()
        with pytest.raises((urllib.error.URLError, OSError)):
            urllib.request.urlopen(f"http://127.0.0.1:{port}/enter", timeout=10)
    finally:
        server.close()
        thread.join(5)
