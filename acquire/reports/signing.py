"""Signs a paper with a key of the shop, and checks a signature, so that who issued it can be shown.

Ed25519 (RFC 8032) over every byte of the paper; key and signature stand behind its end, where neither a
browser nor a PDF reader looks. Keys are PEM files (RFC 7468). Needs the extra `sign`. Not for what a paper
says.
"""

from __future__ import annotations

import base64
import hashlib
import os
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from acquire.errors import InputImpossible, SteadyohmError, unreadable
from drivers.plain_file import read_file

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

PURPOSE = b"steadyohm paper\n"
"""Goes before what is signed, so that a signature is good for nothing else."""

BEHIND = re.compile(
    rb"(?:<!-- |%)steadyohm signature ed25519 ([0-9a-f]{64}) ([A-Za-z0-9+/=]{88})(?: -->)?\n\Z"
)


@dataclass(frozen=True, slots=True)
class Signature:
    """What stands behind a paper: the raw public key in hexadecimal, and the signature's 64 bytes."""

    key: str
    value: bytes

    @property
    def fingerprint(self) -> str:
        """Short name of the key: the beginning of its SHA-256."""
        return fingerprint_of(self.key)


def fingerprint_of(key: str) -> str:
    """Short name of a public key that is given in hexadecimal."""
    return hashlib.sha256(bytes.fromhex(key)).hexdigest()[:16]


def make_keys(path: Path) -> tuple[Path, str]:
    """Write a new key to a file that only its owner can read, and the public key beside it.

    Returns:
        The file of the public key, and its fingerprint.

    Raises:
        InputImpossible: a file is there already, or cannot be written.
    """
    key_type, serialization = _library()
    private: Ed25519PrivateKey = key_type.generate()
    pem, plain = serialization.Encoding.PEM, serialization.NoEncryption()
    secret = private.private_bytes(pem, serialization.PrivateFormat.PKCS8, plain)
    public = private.public_key().public_bytes(pem, serialization.PublicFormat.SubjectPublicKeyInfo)
    beside = path.with_name(f"{path.name}.pub")
    for file, content, mode in ((path, secret, 0o600), (beside, public, 0o644)):
        try:
            number = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
        except OSError as error:
            raise InputImpossible(
                f"{file} cannot be made ({error.strerror}).", "Name another file."
            ) from error
        with os.fdopen(number, "wb") as out:
            out.write(content)
    return beside, fingerprint_of(_raw(private.public_key()))


def signed(content: bytes, key_file: Path) -> bytes:
    """A paper with its signature behind it. Raises InputImpossible where the file holds no key."""
    _, serialization = _library()
    key = _key(key_file, lambda pem: serialization.load_pem_private_key(pem, None), "sign")
    value = base64.b64encode(key.sign(PURPOSE + content)).decode()
    line = f"steadyohm signature ed25519 {_raw(key.public_key())} {value}"
    return content + (f"%{line}\n" if content.startswith(b"%PDF-") else f"<!-- {line} -->\n").encode()


def split(content: bytes) -> tuple[bytes, Signature | None]:
    """A paper without its signature, and that, None for none. Line ends changed on the way do no harm."""
    if not content.startswith(b"%PDF-"):
        content = content.replace(b"\r\n", b"\n")
    found = BEHIND.search(content)
    if found is None:
        return content, None
    return content[: found.start()], Signature(found[1].decode(), base64.b64decode(found[2]))


def genuine(body: bytes, signature: Signature, public_file: Path) -> bool:
    """Whether a paper was signed with the key of this file. Raises InputImpossible where it holds none."""
    from cryptography.exceptions import InvalidSignature  # noqa: PLC0415  (an extra)

    _, serialization = _library()
    key: Ed25519PublicKey = _key(public_file, serialization.load_pem_public_key, "verify")
    try:
        key.verify(signature.value, PURPOSE + body)
    except InvalidSignature:
        return False
    return True


LARGEST_KEY_BYTES = 100_000


def _raw(key: Ed25519PublicKey) -> str:
    return key.public_bytes_raw().hex()


def _key(file: Path, load: Any, use: str) -> Any:
    try:
        pem = read_file(file, LARGEST_KEY_BYTES)
    except OSError as error:
        raise unreadable(f"The key {file}", error) from error
    try:
        key = load(pem)
    except (ValueError, TypeError) as error:
        raise InputImpossible(
            f"{file} holds no key that can {use}.", "steadyohm sign-key makes a pair."
        ) from error
    if not hasattr(key, use) or not hasattr(getattr(key, "public_key", lambda: key)(), "public_bytes_raw"):
        raise InputImpossible(f"{file} holds a key of another kind.", "steadyohm sign-key makes a pair.")
    return key


def _library() -> tuple[Any, Any]:
    try:
        from cryptography.hazmat.primitives import serialization  # noqa: PLC0415  (an extra)
        from cryptography.hazmat.primitives.asymmetric import ed25519  # noqa: PLC0415
    except ImportError as error:
        what = "Signatures need the Python library cryptography, which is not installed."
        raise SteadyohmError(what, 'Install it with: pip install "steadyohm[sign]".') from error
    return ed25519.Ed25519PrivateKey, serialization
