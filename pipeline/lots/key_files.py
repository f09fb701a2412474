"""Where does a plant keep its signing key? In a file of its own, outside every store, that only its owner may read.

The private key is PKCS #8 and the public key SubjectPublicKeyInfo, both as PEM, so that other tools read them too;
a key as 64 hexadecimal digits is read as well.

Source: RFC 8410 (Ed25519 in PKCS #8 and X.509), RFC 7468 (PEM), through the library ``cryptography``.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

from pipeline.errors import Complaint, ReelproofError
from pipeline.lots.signing import new_key, public_key
from pipeline.regular_file import LONGEST_SHEET_BYTES, opened_regular

PUBLIC_SUFFIX = ".pub"
ONLY_OWNER = 0o600


def _refuse(path: Path, found: str, remedy: str) -> ReelproofError:
    return ReelproofError(Complaint(str(path), found, remedy))


def public_path(path: Path) -> Path:
    """Where the public key of a private key file lies: beside it, with ``.pub`` at the end."""
    return path.with_name(path.name + PUBLIC_SUFFIX)


def write_new_key(path: Path) -> str:
    """Make a key: the private half in `path`, readable by its owner alone, the public half beside it.

    Args:
        path: a new file.

    Returns:
        the public key as 64 hexadecimal digits, as manifests name it.

    Raises:
        ReelproofError: one of the files is there already or cannot be written; then neither is left behind.
    """
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    key = Ed25519PrivateKey.from_private_bytes(new_key())
    private = key.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())
    public = key.public_key().public_bytes(form.Encoding.PEM, form.PublicFormat.SubjectPublicKeyInfo)
    _write_new(path, private, ONLY_OWNER)
    try:
        _write_new(public_path(path), public, 0o644)
    except ReelproofError:
        path.unlink(missing_ok=True)
        raise
    return key.public_key().public_bytes_raw().hex()


def _write_new(path: Path, content: bytes, mode: int) -> None:
    """Write a file that is not there yet, with these permissions from its first instant."""
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    except FileExistsError:
        raise _refuse(
            path, "there is a file of that name already", "Name another file; a key is never overwritten"
        ) from None
    except OSError as why:
        raise _refuse(
            path, f"the key cannot be written ({why.strerror})", "Give a folder you may write in"
        ) from None
    with os.fdopen(handle, "wb") as file:
        file.write(content)


def read_private_key(path: Path) -> bytes:
    """The private key in a file, 32 bytes.

    Raises:
        ReelproofError: the file cannot be read, others may read it, or it holds no such key.
    """
    raw = _content(path)
    if os.name == "posix" and stat.S_IMODE(path.stat().st_mode) & 0o077:
        raise _refuse(path, "others than its owner may read this key", f"Run: chmod 600 {path}")
    key = _private_of_pem(raw) if raw.lstrip().startswith(b"-----BEGIN") else _of_hex(raw)
    if key is None:
        raise _refuse(
            path,
            "this is no private signing key",
            "Give the file that 'reelproof key' wrote, an Ed25519 key as PEM without a passphrase, or 64 "
            "hexadecimal digits",
        )
    return key


def read_public_key(path: Path) -> bytes:
    """The public key in a file, 32 bytes; of a private key file the public half.

    Raises:
        ReelproofError: the file cannot be read or holds no such key.
    """
    raw = _content(path)
    if b"PRIVATE KEY" in raw:
        private = _private_of_pem(raw)
        key = public_key(private) if private is not None else None
    else:
        key = _public_of_pem(raw) if raw.lstrip().startswith(b"-----BEGIN") else _of_hex(raw)
    if key is None:
        raise _refuse(
            path,
            "this is no public signing key",
            "Give the .pub file that 'reelproof key' wrote, an Ed25519 public key as PEM, or 64 hexadecimal digits",
        )
    return key


def _content(path: Path) -> bytes:
    try:
        with opened_regular(path) as file:
            return file.read(LONGEST_SHEET_BYTES)
    except OSError as why:
        raise _refuse(
            path, f"this file cannot be read ({why.strerror})", "Check the path of the key"
        ) from None


def _of_hex(raw: bytes) -> bytes | None:
    try:
        key = bytes.fromhex(raw.decode("ascii").strip())
    except ValueError:
        return None
    return key if len(key) == 32 else None


def _private_of_pem(raw: bytes) -> bytes | None:
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    try:
        key = load_pem_private_key(raw, None)
    except (ValueError, TypeError, UnsupportedAlgorithm):
        return None
    return key.private_bytes_raw() if isinstance(key, Ed25519PrivateKey) else None


def _public_of_pem(raw: bytes) -> bytes | None:
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import load_pem_public_key

    try:
        key = load_pem_public_key(raw)
    except (ValueError, UnsupportedAlgorithm):
        return None
    return key.public_bytes_raw() if isinstance(key, Ed25519PublicKey) else None
