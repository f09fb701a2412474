"""Who vouches for a root or a manifest? Ed25519 signatures, where a plant keeps a key.

A signature shows that whoever holds the key signed these bytes; who may hold it is the plant's own rule.

Source: RFC 8032 (Ed25519), through the library ``cryptography``.
"""

from __future__ import annotations

from pipeline.errors import Complaint, ReelproofError


def _refuse(found: str, remedy: str) -> ReelproofError:
    return ReelproofError(Complaint("signing key", found, remedy))


def new_key() -> bytes:
    """A new private key, 32 random bytes; keep it out of the store."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.generate().private_bytes_raw()


def _check(key: bytes, length: int, name: str) -> None:
    if len(key) != length:
        raise _refuse(f"the {name} has {len(key)} bytes", f"Give one of {length} bytes")


def public_key(private_key: bytes) -> bytes:
    """The public key that belongs to a private key, 32 bytes each."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    _check(private_key, 32, "private key")
    return Ed25519PrivateKey.from_private_bytes(private_key).public_key().public_bytes_raw()


def sign(private_key: bytes, message: bytes) -> bytes:
    """Signature of a message, 64 bytes.

    Args:
        private_key: 32 bytes.
        message: the bytes signed, as they stand.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    _check(private_key, 32, "private key")
    return Ed25519PrivateKey.from_private_bytes(private_key).sign(message)


def is_signed(public: bytes, message: bytes, signature: bytes) -> bool:
    """Whether the holder of the key signed exactly these bytes.

    Args:
        public: public key, 32 bytes.
        message: the bytes.
        signature: 64 bytes.
    """
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    _check(public, 32, "public key")
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(signature, message)
    except (InvalidSignature, ValueError):
        return False
    return True
