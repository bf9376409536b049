"""Keys for signing off: Ed25519 (RFC 8032), kept encrypted and outside any job folder."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path

from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)

from audit.errors import UsageError, Where
from audit.job.sources import JOB_FILE
from audit.record.canonical import sha256

LEAST_PASSPHRASE = 10
MAX_KEY_BYTES = 10_000


@dataclass(frozen=True)
class Signer:
    """A key that is open for signing.

    Parameters
    ----------
    private : Ed25519PrivateKey
    path : pathlib.Path or None
        Where it is kept.
    """

    private: Ed25519PrivateKey = field(repr=False)
    path: Path | None = None

    @property
    def public_key(self) -> str:
        """The public key: 32 bytes as 64 hexadecimal digits."""
        return self.private.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw).hex()

    def sign(self, message: bytes) -> str:
        """Ed25519 signature: 64 bytes as 128 hexadecimal digits."""
        return self.private.sign(message).hex()


def fingerprint(public_key: str) -> str:
    """A public key in short, to read out: the first 16 digits of its SHA-256, in fours."""
    short = sha256(bytes.fromhex(public_key))[:16]
    return " ".join(short[i : i + 4] for i in range(0, 16, 4))


def signature_holds(public_key: str, signature: str, message: bytes) -> bool:
    """Whether a signature was made with a key over just these bytes.

    Parameters
    ----------
    public_key, signature : str
        Lower-case hexadecimal, 64 and 128 digits.
    message : bytes
    """
    if signature != signature.lower() or public_key != public_key.lower():
        return False
    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_key))
        key.verify(bytes.fromhex(signature), message)
    except (InvalidSignature, ValueError):
        return False
    return True


def job_around(path: Path) -> Path | None:
    """The job folder that a path lies in, if any."""
    for folder in path.expanduser().resolve().parents:
        if (folder / JOB_FILE).is_file():
            return folder
    return None


def make_key(path: Path, passphrase: str) -> Signer:
    """Make a key and keep it encrypted with a passphrase (PEM, PKCS #8).

    The public half is written beside it, with `.pub` added to the name.

    Raises
    ------
    UsageError
        When the passphrase is too short, the file is there already, or it would
        lie in a job folder.
    """
    _outside_jobs(path)
    if len(passphrase) < LEAST_PASSPHRASE:
        raise UsageError(
            f"the passphrase is shorter than {LEAST_PASSPHRASE} characters",
            next_step="take several words",
        )
    private = Ed25519PrivateKey.generate()
    secret = BestAvailableEncryption(passphrase.encode())
    pem = private.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, secret)
    public = private.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    _write_new(path, pem, 0o600)
    _write_new(path.with_name(f"{path.name}.pub"), public, 0o644)
    return Signer(private, path)


def _outside_jobs(path: Path) -> None:
    job = job_around(path)
    if job is not None:
        raise UsageError(
            "a key does not belong into a job folder: whoever gets the folder would get the key",
            Where(path),
            "keep it elsewhere",
        )


def _write_new(path: Path, data: bytes, mode: int) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        with os.fdopen(handle, "wb") as out:
            out.write(data)
            out.flush()
            os.fsync(out.fileno())
    except FileExistsError as exc:
        raise UsageError(
            "there is a file of this name already", Where(path), "choose another name"
        ) from exc
    except OSError as exc:
        raise UsageError(f"the key can't be written ({exc.strerror})", Where(path)) from exc


def load_key(path: Path, passphrase: str) -> Signer:
    """Open a key for signing.

    Raises
    ------
    UsageError
        When it is none of ours, lies in a job folder, or the passphrase is wrong.
    """
    _outside_jobs(path)
    pem = _read(path)
    try:
        private = load_pem_private_key(pem, passphrase.encode())
    except TypeError as exc:
        raise UsageError(
            "this key is not protected by a passphrase", Where(path), "make one with: lidoff key"
        ) from exc
    except (ValueError, UnsupportedAlgorithm) as exc:
        raise UsageError(
            "the passphrase is wrong, or this is no key", Where(path), "try again"
        ) from exc
    if not isinstance(private, Ed25519PrivateKey):
        raise UsageError("this is no Ed25519 key", Where(path), "make one with: lidoff key")
    return Signer(private, path)


def load_public_key(path: Path) -> str:
    """Read a public key's file.

    Returns
    -------
    str
        64 hexadecimal digits.

    Raises
    ------
    UsageError
        When it is none.
    """
    try:
        public = load_pem_public_key(_read(path))
    except (ValueError, UnsupportedAlgorithm) as exc:
        raise UsageError("this is no public key", Where(path), "give the .pub file") from exc
    if not isinstance(public, Ed25519PublicKey):
        raise UsageError("this is no Ed25519 key", Where(path), "give the .pub file")
    return public.public_bytes(Encoding.Raw, PublicFormat.Raw).hex()


def _read(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(MAX_KEY_BYTES)
    except OSError as exc:
        raise UsageError(
            f"the key can't be read ({exc.strerror})", Where(path), "make one with: lidoff key"
        ) from exc
