"""Keys and signatures: Ed25519 (RFC 8032). The only module that knows the library for it.

What is signed is a sentence, not the case itself: that a person puts the name under this case up to that event, whose
hash seals all before it. So a signature cannot be carried to another case, another state of it, or another use.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unicodedata import combining, normalize

from isolate.case.events import Event, EventError, canonical
from isolate.kb.shown import plain
from isolate.review.plain_file import opened
from isolate.review.shapes import Signature

PURPOSE = "isolate case signature"
"""Stands in what is signed, so that a signature made for a case is good for nothing else."""
NAMED = "Key of: "
"""A line before the key in a file, as RFC 7468 allows, with the name of whose it is."""
LONGEST = 80
"""Letters of a name."""
LEAST = 8
"""Letters of a passphrase at least."""
PUBLIC = ".pub"
"""End of the name of a file with a public key."""
SIGNED = frozenset({"by", "key", "seq", "hash", "signature"})
"""All that the event of a signature says; each of it is signed, or is the key or the signature itself."""
_HEX = re.compile(r"[0-9a-f]+")
_LOOKS = {
    # Cyrillic capitals
    **str.maketrans(
        "\u0410\u0412\u0415\u0405\u0406\u0408\u041a\u041c\u041d\u041e\u0420\u0421\u0422\u0425\u0423",
        "ABESIJKMHOPCTXY",
    ),
    # Cyrillic small letters
    **str.maketrans(
        "\u0430\u0441\u0435\u043e\u0440\u0445\u0443\u0456\u0458\u0455\u04bb\u0501\u051b\u051d\u04cf",
        "aceopxyijshdqwl",
    ),
    # Greek capitals
    **str.maketrans(
        "\u0391\u0392\u0395\u0396\u0397\u0399\u039a\u039c\u039d\u039f\u03a1\u03a4\u03a5\u03a7",
        "ABEZHIKMNOPTYX",
    ),
    # Greek small letters
    **str.maketrans(
        "\u03bf\u03bd\u03b9\u03c1\u03c5\u03b1\u03ba\u03c7\u03b3",
        "ovipuakxy",
    ),
}
"""Letters of other scripts that look like a Latin one [published: UTS #39, confusables, those likely in a name]."""
_STROKES = str.maketrans("01|i", "olll")
"""What is taken for one another in small letters, after case folding: a capital I is an i then."""


class BadKey(ValueError):
    """A key cannot be used or written; the message says which file and why."""


@dataclass(frozen=True)
class Private:
    """A private key and whose it is. ``public``: the public half, 64 hexadecimal digits."""

    name: str
    public: str
    secret: Any = field(repr=False, compare=False)


def checked_name(name: str) -> str:
    """Return a person's name as it is kept. Raises BadKey."""
    name = " ".join(name.split())
    if not name or len(name) > LONGEST or not name.isprintable():
        raise BadKey(f"a name is 1 to {LONGEST} letters, with nothing in it that does not print")
    return name


def alike(one: str, other: str) -> bool:
    """Return whether two names read alike: but for letter case, marks, spaces, and letters that look the same.

    After the skeletons of UTS #39, with those letters of it that come up in names written with Latin ones.
    """
    return _skeleton(one) == _skeleton(other)


def _skeleton(name: str) -> str:
    bare = "".join(c for c in normalize("NFKD", name) if not combining(c)).translate(_LOOKS).casefold()
    bare = bare.translate(_STROKES).replace("rn", "m").replace("vv", "w")
    return "".join(c for c in bare if c.isalnum()) or bare


def make(name: str, passphrase: str = "") -> tuple[bytes, bytes]:
    """Return a new key as two files' contents: the private half, and the public one.

    The private half is PKCS #8, encrypted where there is a passphrase. Raises BadKey.
    """
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    head = f"{NAMED}{checked_name(name)}\n".encode()
    if passphrase and len(passphrase) < LEAST:
        raise BadKey(f"a passphrase of {LEAST} letters at least is needed")
    secret = Ed25519PrivateKey.generate()
    shut: form.KeySerializationEncryption = form.NoEncryption()
    if passphrase:
        shut = form.BestAvailableEncryption(passphrase.encode())
    private = secret.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, shut)
    public = secret.public_key().public_bytes(form.Encoding.PEM, form.PublicFormat.SubjectPublicKeyInfo)
    return head + private, head + public


def write(path: Path, private: bytes, public: bytes) -> Path:
    """Write both halves: the private one for the owner alone, the public one beside it. Return the public one's path.

    Raises BadKey where either is there already, or cannot be written; then neither is.
    """
    beside = path.with_name(path.name + PUBLIC)
    written: list[Path] = []
    try:
        for where, data, mode in ((path, private, 0o600), (beside, public, 0o644)):
            number = os.open(where, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
            written.append(where)
            with os.fdopen(number, "wb") as stream:
                stream.write(data)
                os.fsync(stream.fileno())
    except OSError as error:
        for where in written:
            where.unlink(missing_ok=True)
        if isinstance(error, FileExistsError):
            raise BadKey(f"{error.filename} is there already and was left as it is") from None
        why = (error.strerror or str(error)).lower()
        raise BadKey(f"{error.filename or path} could not be written: {why}") from None
    return beside


def is_shut(data: bytes) -> bool:
    """Return whether a private key wants a passphrase."""
    return b"-----BEGIN ENCRYPTED" in data


def read_private(path: Path, passphrase: str = "") -> Private:
    """Return the private key in a file. Raises BadKey: not there, no key, another kind of key, wrong passphrase."""
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    data = read_file(path)
    if b"PRIVATE KEY-----" not in data:
        what = "a public key; the private half signs" if b"PUBLIC KEY-----" in data else "no private key"
        raise BadKey(f"{path}: this is {what}")
    if is_shut(data) and not passphrase:
        raise BadKey(f"{path}: this key wants its passphrase")
    try:
        secret = form.load_pem_private_key(data, passphrase.encode() if is_shut(data) else None)
    except (ValueError, TypeError, UnsupportedAlgorithm):
        why = "the passphrase is not the one of this key" if is_shut(data) else "the key is damaged"
        raise BadKey(f"{path}: {why}") from None
    if not isinstance(secret, Ed25519PrivateKey):
        raise BadKey(f"{path}: a key of another kind; Ed25519 is needed, as isolate review key makes it")
    public = secret.public_key().public_bytes(form.Encoding.Raw, form.PublicFormat.Raw).hex()
    return Private(_named(data, path) or "", public, secret)


def read_public(path: Path) -> tuple[str, str]:
    """Return (name, public key in hex) of a file; the name is the file's where none is written in it. Raises BadKey."""
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    data = read_file(path)
    if b"PRIVATE KEY-----" in data:
        raise BadKey(f"{path}: this is somebody's private key and does not belong here; its public half does")
    try:
        key = form.load_pem_public_key(data)
    except (ValueError, UnsupportedAlgorithm):
        raise BadKey(f"{path}: no public key, or a damaged one") from None
    if not isinstance(key, Ed25519PublicKey):
        raise BadKey(f"{path}: a key of another kind; Ed25519 is needed, as isolate review key makes it")
    name = _named(data, path) or checked_name(path.name.removesuffix(PUBLIC))
    return name, key.public_bytes(form.Encoding.Raw, form.PublicFormat.Raw).hex()


def people(folder: str | Path, bad: list[str] | None = None) -> dict[str, str]:
    """Return the known public keys as key in hex → whose it is; a person may have several. No folder named: nobody's.

    ``bad``: takes a sentence on each file that is no key, and on each key with two names, which then is nobody's; the
    others count. Raises BadKey: no such folder; without ``bad`` for those as well.
    """
    if not str(folder):
        return {}
    folder = Path(os.path.expanduser(folder))
    found: dict[str, str] = {}
    try:
        paths = sorted(p for p in folder.iterdir() if p.name.endswith(PUBLIC))
    except OSError as error:
        raise BadKey(f"{folder}: the keys of known people are not there: {(error.strerror or '').lower()}") from None
    doubled: set[str] = set()
    for path in paths:
        try:
            name, public = read_public(path)
            if found.setdefault(public, name) != name:
                doubled.add(public)
                raise BadKey(f"{path}: this key is that of {found[public]} already; one key has one name")
        except BadKey as error:
            if bad is None:
                raise
            bad.append(plain(error))
    # Who of the two it is nobody here can tell.
    return {public: name for public, name in found.items() if public not in doubled}


def known_as(name: str, known: Mapping[str, str]) -> str:
    """Return whom of the known people a name means, or could be taken for; empty for nobody. The spelling decides."""
    names = sorted(set(known.values()), key=lambda other: (other != name, other.casefold() != name.casefold(), other))
    return next((other for other in names if alike(other, name)), "")


def short(public: str) -> str:
    """Return a short form of a public key, to be read out and compared: 16 digits of its SHA-256, in fours."""
    from hashlib import sha256

    digits = sha256(bytes.fromhex(public)).hexdigest()[:16]
    return " ".join(digits[i : i + 4] for i in range(0, 16, 4))


def statement(case: str, seq: int, head: str, by: str) -> bytes:
    """Return what is signed."""
    return canonical({"purpose": PURPOSE, "case": case, "seq": seq, "hash": head, "by": by})


def sign(key: Private, events: Sequence[Event], by: str = "") -> dict[str, Any]:
    """Return the body of the event that signs a case as it stands. Raises BadKey where nobody's name is known."""
    by = checked_name(by or key.name)
    last = events[-1]
    signature = key.secret.sign(statement(last.case, last.seq, last.hash, by)).hex()
    return {"by": by, "key": key.public, "seq": last.seq, "hash": last.hash, "signature": signature}


def holds(public: str, signature: str, said: bytes) -> bool:
    """Return whether a signature, both in hex, is the one of that key under those bytes."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    if not _HEX.fullmatch(public) or not _HEX.fullmatch(signature) or len(public) != 64 or len(signature) != 128:
        return False
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(public)).verify(bytes.fromhex(signature), said)
    except (InvalidSignature, ValueError):
        return False
    return True


def signatures(events: Sequence[Event], known: Mapping[str, str]) -> tuple[Signature, ...]:
    """Return what may be said of each signature of a case. ``known``: as :func:`people` gives them."""
    hashes = {event.seq: event.hash for event in events}
    return tuple(_judged(event, hashes, known) for event in events if event.kind == "signed")


def _judged(event: Event, hashes: Mapping[int, str], known: Mapping[str, str]) -> Signature:
    body = event.body
    by, key, own, head = (body.get(name) for name in ("by", "key", "signature", "hash"))
    upto = body.get("seq")
    if not all(isinstance(value, str) for value in (by, key, own, head)) or type(upto) is not int:
        return _none(event, "something of it is missing")
    if beyond := sorted(set(body) - SIGNED):
        # What is not signed must not be read as if it were.
        return _none(event, f"it says more than was signed ({plain(', '.join(beyond))[:LONGEST]})")
    if not _is_name(by):
        return _none(event, "what stands for a name is none that can be written")
    assert isinstance(by, str) and isinstance(key, str) and isinstance(own, str) and isinstance(head, str)

    def judged(state: Any, said: str) -> Signature:
        return Signature(event.seq, upto, by, key, state, said)

    try:
        good = holds(key, own, statement(event.case, upto, head, by))
    except EventError:
        good = False
    whose = known.get(key)
    if not good:
        return judged(
            "wrong",
            f"Signature of {by} (event {event.seq}): WRONG. It is not the signature of that key under this case; it "
            "was changed, or taken from somewhere else.",
        )
    if not upto < event.seq or hashes.get(upto) != head:
        return judged(
            "wrong",
            f"Signature of {by} (event {event.seq}): WRONG for this trail. It was put under another state of it: what "
            f"stands up to event {upto} is not what was signed.",
        )
    if whose is not None and whose.casefold() != by.casefold():
        return judged(
            "other name",
            f"Signature of {by} (event {event.seq}): WRONG NAME. The key is that of {whose}.",
        )
    if whose is None and (meant := known_as(by, known)):
        looks = f"{by} is" if by == meant else f"That name reads like {meant}, who is"
        return judged(
            "other name",
            f"Signature of {by} (event {event.seq}): WRONG KEY. {looks} known here, and this is not their key.",
        )
    if whose is None:
        return judged(
            "unknown key",
            f"Signature of {by} (event {event.seq}), up to event {upto}: sound, but the key ({short(key)}) is not "
            "known here, so nobody vouches for the name.",
        )
    return judged("good", f"Signed by {whose} (event {event.seq}), up to event {upto}, key {short(key)}.")


def _none(event: Event, why: str) -> Signature:
    by, key = (plain(event.body.get(name) or "")[:LONGEST] for name in ("by", "key"))
    said = f"Event {event.seq} is called a signature, and is WRONG: {why}."
    return Signature(event.seq, 0, by, key, "wrong", said)


def _is_name(by: Any) -> bool:
    try:
        return bool(checked_name(by) == by)
    except BadKey:
        return False


def read_by_others(path: Path) -> bool:
    """Return whether others than its owner may read or write a file; False where the system does not say."""
    try:
        return os.name == "posix" and bool(path.stat().st_mode & 0o077)
    except OSError:
        return False


def read_file(path: Path) -> bytes:
    """Return what a file of a key holds. Raises BadKey."""
    try:
        with opened(path) as stream:
            data = stream.read(20_001)
    except (OSError, ValueError) as error:
        why = (getattr(error, "strerror", None) or str(error)).lower()
        raise BadKey(f"{path}: the key could not be read: {why}") from None
    if len(data) > 20_000:
        raise BadKey(f"{path}: this is no key; it is too long for one")
    return data


def _named(data: bytes, path: Path) -> str:
    """Return the name written before a key; empty where there is none. Raises BadKey."""
    first = data.split(b"-----BEGIN", 1)[0].decode("utf-8", "replace").strip()
    for line in first.splitlines():
        if line.startswith(NAMED):
            try:
                return checked_name(line.removeprefix(NAMED))
            except BadKey as error:
                raise BadKey(f"{path}: {error}") from None
    return ""
