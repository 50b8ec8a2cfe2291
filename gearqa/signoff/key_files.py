"""Ed25519 key files and detached signatures, by a well-kept library; no cryptography of our own."""

from __future__ import annotations

import base64
import hashlib
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from gearqa.errors import RecordError

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

ALGORITHM: Final = "Ed25519"


def make_keys(private: str | Path, public: str | Path, *, password: bytes | None = None) -> str:
    """Make a pair of key files (PEM) and return the fingerprint of the public one.

    The private one is readable by its owner alone, encrypted with a password; the public one is for whoever
    verifies. Raises RecordError if a file is there already, as none is overwritten, or cannot be written.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    private, public = Path(private), Path(public)
    for path in (private, public):
        if path.exists():
            hint = "a key file is never overwritten; name another"
            raise RecordError(f"{path} is there already", hint=hint)
    key = Ed25519PrivateKey.generate()
    lock = serialization.BestAvailableEncryption(password) if password else serialization.NoEncryption()
    secret = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, lock)
    known = key.public_key().public_bytes(
        serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    try:
        descriptor = os.open(private, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "wb") as file:
            file.write(secret)
        try:
            with public.open("xb") as file:
                file.write(known)
        except OSError:  # half a pair is of no use
            private.unlink()
            raise
    except OSError as error:
        raise RecordError(f"cannot write the key files: {error.strerror or error}") from error
    return fingerprint(key.public_key())


def has_password(path: str | Path) -> bool:
    """Whether a private key file is encrypted."""
    return b"ENCRYPTED PRIVATE KEY" in _bytes_of(Path(path))


def load_private_key(path: str | Path, *, password: bytes | None = None) -> Ed25519PrivateKey:
    """Read a private key file; raises RecordError if it holds no Ed25519 private key."""
    from cryptography.exceptions import InternalError, UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    data = _bytes_of(Path(path))
    try:
        key = load_pem_private_key(data, password)
    except TypeError as error:
        hint = "the key file is encrypted: give its password" if password is None else "it has no password"
        raise RecordError(f"{path}: {error}", hint=hint) from error
    except (ValueError, UnsupportedAlgorithm, InternalError) as error:
        hint = "is the password right?" if password else "`gearqa keys` makes a pair of key files"
        raise RecordError(f"{path} holds no private key that can be read", hint=hint) from error
    if not isinstance(key, Ed25519PrivateKey):
        raise RecordError(f"{path} holds no Ed25519 key", hint="`gearqa keys` makes a pair of key files")
    return key


def load_public_key(path: Path) -> Ed25519PublicKey:
    """Read a public key file; raises RecordError if it holds no Ed25519 public key."""
    from cryptography.exceptions import InternalError, UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import load_pem_public_key

    data = _bytes_of(path)
    if b"PRIVATE KEY" in data:
        hint = "name the public key file; keep this one to yourself"
        raise RecordError(f"{path} holds a private key", hint=hint)
    try:
        key = load_pem_public_key(data)
    except (ValueError, UnsupportedAlgorithm, InternalError) as error:
        raise RecordError(f"{path} holds no public key that can be read") from error
    if not isinstance(key, Ed25519PublicKey):
        raise RecordError(f"{path} holds no Ed25519 key", hint="`gearqa keys` makes a pair of key files")
    return key


def fingerprint(key: Ed25519PublicKey) -> str:
    """SHA-256 of the raw public key, in hexadecimal."""
    return hashlib.sha256(key.public_bytes_raw()).hexdigest()


def sign(message: bytes, key: Ed25519PrivateKey) -> dict[str, str]:
    """Signature of a message, with the public key that checks it."""
    public = key.public_key()
    return {
        "algorithm": ALGORITHM,
        "public_key": base64.b64encode(public.public_bytes_raw()).decode("ascii"),
        "fingerprint": fingerprint(public),
        "value": base64.b64encode(key.sign(message)).decode("ascii"),
    }


def check_signature(message: bytes, signature: dict[str, Any], key: Ed25519PublicKey | None) -> str | None:
    """What is wrong with a signature; None if it is good for `key` (or for the key it names itself)."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    if signature.keys() != {"algorithm", "public_key", "fingerprint", "value"}:
        return f"the signature has the keys {', '.join(signature)}, not those of a signature"
    if signature["algorithm"] != ALGORITHM:
        return f"algorithm {signature['algorithm']!r}, only {ALGORITHM} is known"
    try:
        named = Ed25519PublicKey.from_public_bytes(_decoded(signature["public_key"]))
        value = _decoded(signature["value"])
    except (TypeError, ValueError):
        return "the signature cannot be read"
    if signature.get("fingerprint") != fingerprint(named):
        return "the fingerprint does not belong to the public key in the signature"
    if key is not None and key.public_bytes_raw() != named.public_bytes_raw():
        return f"made with another key, {fingerprint(named)}; the key given is {fingerprint(key)}"
    try:
        named.verify(value, message)
    except InvalidSignature:
        return "the signature does not fit the record"
    return None


def _decoded(text: str) -> bytes:
    """Bytes of a base64 text; raises ValueError unless it is the one text of these bytes (RFC 4648, 3.5)."""
    found = base64.b64decode(text, validate=True)
    if base64.b64encode(found).decode("ascii") != text:
        raise ValueError("not the canonical text")
    return found


def _bytes_of(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise RecordError(f"cannot read {path}: {error.strerror or error}") from error
