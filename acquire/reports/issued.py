"""Papers as they were issued, kept beside the record: bytes, SHA-256, number, signature, what each rests on.

Nothing is ever written over. What was issued stays good only while the unit's result stays: once that has a
later revision, a look-up says that the paper is superseded.

A key of the shop may sign a paper, so that who issued it can be shown: Ed25519 (RFC 8032) over every byte of
it; key and signature stand behind its end, where neither a browser nor a PDF reader looks. Keys are PEM files
(RFC 7468). Needs the extra `sign`. Not for making papers.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from acquire.errors import InputImpossible, SteadyohmError, unreadable
from acquire.files.new_file import new_file, write_new
from acquire.journal.query import Record
from acquire.records import Outcome
from acquire.reports.document import moment
from acquire.reports.visits import Visit, visits_of
from acquire.words.verdicts import OUTCOME_WORDS
from drivers.plain_file import read_file

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

FOLDER = "issued"

PLAIN_SERIAL = re.compile(r"[A-Z0-9]+(?:[+-][A-Z0-9]+)*")
"""A serial that stands in a file's name as it is: no two of these are alike on any system."""

NUMBER = re.compile(r"[A-Z0-9]+(?:-[A-Z0-9]+)*")
"""How a paper's number is written, so that it may name a file."""

ELSEWHERE = "Name another folder with --issued."


def file_name(kind: str, serial: str, ending: str) -> str:
    """A name for a paper's file that any system takes, and that no other serial's paper has.

    A plain serial stands there as it is; of any other one the letters and digits, then a digest of all of it
    behind an underscore, which no plain one holds. Only ASCII, and never a word that a system keeps for
    itself.
    """
    if len(serial) <= 40 and PLAIN_SERIAL.fullmatch(serial):
        return f"{kind}-{serial}.{ending}"
    readable = re.sub(r"[^A-Za-z0-9]+", "-", serial).strip("-")[:40]
    digest = hashlib.sha256(serial.encode("utf-8", "surrogatepass")).hexdigest()[:20]
    return f"{kind}-{readable}_{digest}.{ending}"


@dataclass(frozen=True, slots=True)
class Issued:
    """One paper that was issued.

    Attributes:
        number: that stands on it; kind: "certificate" or "label".
        result_id, revision, outcome: of the unit's result that it states.
        replaces: number of an earlier one that it stands in for, empty for none.
        rests_on: entries of the record; hashes: SHA-256 of sheet, meter and bench files by what they are.
        files: SHA-256 by ending, such as "html"; more than one where it was issued in several forms.
    """

    number: str
    kind: str
    serial: str
    result_id: str
    revision: int
    outcome: Outcome
    issued_utc_s: float
    replaces: str = ""
    rests_on: tuple[str, ...] = ()
    hashes: dict[str, tuple[str, ...]] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class IssuedPapers:
    """The folder of a record's issued papers; made when the first one is."""

    folder: Path

    def keep(self, paper: Issued, contents: dict[str, bytes]) -> None:
        """Keep a paper as it is issued, by ending. Raises InputImpossible."""
        known = self.get(paper.number)
        files = {
            **(known.files if known else {}),
            **{end: _sha(content) for end, content in contents.items()},
        }
        if known and any(known.files.get(end, sha) != sha for end, sha in files.items()):
            what = f"Another paper was issued as {paper.number}."
            raise InputImpossible(what, "Issue it anew: a second later it has another number.")
        try:
            self.folder.mkdir(exist_ok=True)
        except OSError as error:
            what = f"The folder of issued papers {self.folder} cannot be made ({error.strerror})."
            raise InputImpossible(what, ELSEWHERE) from error
        for end, content in contents.items():
            self._write(f"{paper.number}.{end}", content)
        plain = {**asdict(known or paper), "files": files}
        self._write(f"{paper.number}.json", json.dumps(plain, indent=1, ensure_ascii=True).encode())

    def _write(self, name: str, content: bytes) -> None:
        try:
            with new_file(self.folder / name) as file:
                file.write(content)
        except InputImpossible as error:
            raise InputImpossible(f"What is issued cannot be kept: {error.what}", ELSEWHERE) from error

    def get(self, number: str) -> Issued | None:
        """The paper of this number, None for none. Raises InputImpossible where its file is damaged."""
        file = self.folder / f"{number}.json"
        if not NUMBER.fullmatch(number) or not file.is_file():
            return None
        try:
            return msgspec.json.decode(file.read_bytes(), type=Issued)
        except (msgspec.MsgspecError, UnicodeError, OSError) as error:
            raise InputImpossible(f"{file} is damaged: it describes no issued paper.") from error

    def content(self, paper: Issued, ending: str) -> bytes:
        """The bytes as they were issued. Raises InputImpossible where they are not there, or were changed."""
        if ending not in paper.files:
            there = " and ".join(sorted(paper.files))
            raise InputImpossible(
                f"{paper.number} was issued as {there} only.", f"Name a file ending in .{there}."
            )
        try:
            content = read_file(self.folder / f"{paper.number}.{ending}")
        except OSError as error:
            raise InputImpossible(f"{paper.number}.{ending} is gone from {self.folder}.") from error
        if _sha(content) != paper.files[ending]:
            raise InputImpossible(f"{paper.number}.{ending} in {self.folder} is no longer what was issued.")
        return content

    def all(self) -> Iterator[Issued]:
        """Every paper, the oldest first."""
        found = (self.get(file.stem) for file in self.folder.glob("*.json"))
        yield from sorted((each for each in found if each), key=lambda each: (each.issued_utc_s, each.number))

    def found(self, word: str) -> list[Issued]:
        """Papers of a number, of a serial, or of the entry of a result; empty: all of them."""
        return [e for e in self.all() if word in ("", e.serial, e.result_id) or word.upper() == e.number]

    def superseded(self, paper: Issued, record: Record) -> str:
        """Why a paper is no longer good, in one sentence; empty where it is."""
        later = next((each for each in self.all() if paper.number and each.replaces == paper.number), None)
        if later is not None:
            return f"Superseded: replaced by {later.number} of {moment(later.issued_utc_s)}."
        return superseded(
            paper.result_id, (paper.revision, paper.outcome), visits_of(record.by_serial(paper.serial))
        )


def superseded(result_id: str, stated: tuple[int, Outcome], visits: list[Visit]) -> str:
    """Why what a paper states of a result is no longer so; empty where it is.

    Args:
        result_id: entry that the paper is about.
        stated: revision and outcome as the paper has them.
        visits: of the unit, as the record has them now.
    """
    visit = next((v for v in visits if result_id in {each.id for each in v.results}), None)
    if visit is None:
        return f"The record knows no result {result_id}."
    if visit.revision == stated:
        return ""
    now = "has no outcome" if visit.outcome is None else f"is {OUTCOME_WORDS[visit.outcome]}"
    was = f"it states {OUTCOME_WORDS[stated[1]]}, and since then the result was revised"
    return f"Superseded: {was}: it {now} now."


def _sha(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


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
    write_new(path, secret, 0o600)
    write_new(beside, public)
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
