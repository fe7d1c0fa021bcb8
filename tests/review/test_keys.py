"""Keys and signatures: what is told apart, and that nothing of a key is written where it does not belong."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from isolate.case.events import Event
from isolate.case.memory import Memory
from isolate.review import keys
from isolate.review.trust import trouble, trust
from isolate.review.versions import Kits
from tests.bench.tampering import reseal
from tests.worked import trail

WHEN = "2030-03-01T00:00:00.000Z"
NOWHERE: Kits = lambda digest, engine: None  # noqa: E731


@pytest.fixture(scope="module")
def robin() -> keys.Private:
    return _key("Robin Skerry")


@pytest.fixture(scope="module")
def sam() -> keys.Private:
    return _key("Sam Halden")


def _key(name: str) -> keys.Private:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "key"
        keys.write(path, *keys.make(name))
        return keys.read_private(path)


def signed(events: tuple[Event, ...], *by: tuple[keys.Private, str]) -> tuple[Event, ...]:
    log = Memory(events)
    for key, name in by:
        log.append_all(events[0].case, [("signed", keys.sign(key, log.events(events[0].case), name))], WHEN)
    return log.events(events[0].case)


def word(events: tuple[Event, ...] | list[Event], *known: keys.Private) -> str:
    return trust(NOWHERE, events, (), {key.public: key.name for key in known}, replay=False).signed


# -- keys ----------------------------------------------------------------------------------------------


def test_a_key_is_read_back_and_only_its_owner_may(tmp_path: Path) -> None:
    beside = keys.write(tmp_path / "mine", *keys.make("Robin  Skerry", "long enough"))
    assert stat.S_IMODE((tmp_path / "mine").stat().st_mode) == 0o600
    key = keys.read_private(tmp_path / "mine", "long enough")
    assert key.name == "Robin Skerry" and keys.read_public(beside) == (key.name, key.public)
    assert key.secret.private_bytes_raw().hex() not in repr(key)
    assert keys.is_shut((tmp_path / "mine").read_bytes())
    for passphrase in ("", "long enougH"):
        with pytest.raises(keys.BadKey, match="passphrase"):
            keys.read_private(tmp_path / "mine", passphrase)


@pytest.mark.parametrize("there", ["mine", "mine.pub"])
def test_no_key_is_written_over(tmp_path: Path, there: str) -> None:
    (tmp_path / there).write_text("something dear")
    with pytest.raises(keys.BadKey, match="there already"):
        keys.write(tmp_path / "mine", *keys.make("Robin"))
    assert (tmp_path / there).read_text() == "something dear"
    assert [p.name for p in tmp_path.iterdir()] == [there]


@pytest.mark.parametrize("name", ["", "   ", "x" * 81, "Robin\x1b[2J", "a\u202eb"])
def test_a_name_that_cannot_be_shown_is_refused(name: str) -> None:
    with pytest.raises(keys.BadKey):
        keys.make(name)


def test_files_that_are_no_keys_get_a_sentence(tmp_path: Path) -> None:
    from cryptography.hazmat.primitives import serialization as form
    from cryptography.hazmat.primitives.asymmetric import ec

    private, public = keys.make("Robin")
    other = ec.generate_private_key(ec.SECP256R1())
    held = other.private_bytes(form.Encoding.PEM, form.PrivateFormat.PKCS8, form.NoEncryption())
    shown = other.public_key().public_bytes(form.Encoding.PEM, form.PublicFormat.SubjectPublicKeyInfo)
    path = tmp_path / "key.pub"
    for data, wanted in (
        (b"", "no private"),
        (public, "public key"),
        (private[:90], "damaged"),
        (held, "another kind"),
    ):
        path.write_bytes(data)
        with pytest.raises(keys.BadKey, match=wanted):
            keys.read_private(path)
    for data, wanted in ((b"", "no public"), (private, "private key"), (shown, "another kind"), (b"x" * 30000, "long")):
        path.write_bytes(data)
        with pytest.raises(keys.BadKey, match=wanted):
            keys.read_public(path)
    with pytest.raises(keys.BadKey, match="could not be read"):
        keys.read_private(tmp_path / "none")


def test_known_people(tmp_path: Path) -> None:
    assert keys.people("") == {}
    _, robin = keys.make("Robin")
    _, again = keys.make("Robin")
    (tmp_path / "a.pub").write_bytes(robin)
    (tmp_path / "b.pub").write_bytes(again)
    (tmp_path / "Sam Halden.pub").write_bytes(keys.make("x")[1].split(b"\n", 1)[1])
    (tmp_path / "README").write_text("not a key")
    assert sorted(keys.people(tmp_path).values()) == ["Robin", "Robin", "Sam Halden"]
    (tmp_path / "c.pub").write_bytes(robin.replace(b"Robin", b"Other"))
    with pytest.raises(keys.BadKey, match="one key has one name"):
        keys.people(tmp_path)
    with pytest.raises(keys.BadKey, match="not there"):
        keys.people(tmp_path / "none")
    # Told what is wrong, the others count; a key with two names is nobody's.
    (tmp_path / "d.pub").write_text("junk")
    os.mkfifo(tmp_path / "e.pub")
    bad: list[str] = []
    assert sorted(keys.people(tmp_path, bad).values()) == ["Robin", "Sam Halden"]
    assert [word for word, said in zip(("one name", "no public key", "plain file"), bad, strict=True) if word in said]
    assert robin_key(robin) not in keys.people(tmp_path, bad)


def robin_key(public: bytes) -> str:
    from cryptography.hazmat.primitives import serialization as form

    read = form.load_pem_public_key(public)
    return read.public_bytes(form.Encoding.Raw, form.PublicFormat.Raw).hex()


def test_a_private_key_that_others_may_read(tmp_path: Path) -> None:
    keys.write(tmp_path / "mine", *keys.make("Robin"))
    assert not keys.read_by_others(tmp_path / "mine") and not keys.read_by_others(tmp_path / "none")
    (tmp_path / "mine").chmod(0o640)
    assert keys.read_by_others(tmp_path / "mine")


# -- signatures ----------------------------------------------------------------------------------------


def test_the_states_are_told_apart(robin: keys.Private, sam: keys.Private) -> None:
    case = trail("worn-plug")
    assert word(case, robin) == "unsigned"
    assert word(signed(case, (robin, "")), robin) == "signed"
    assert word(signed(case, (robin, ""), (sam, "")), robin, sam) == "signed"
    assert word(signed(case, (robin, "")), sam) == "signed by an unknown key"
    assert word(signed(case, (robin, "Sam Halden")), robin, sam) == "wrongly signed"
    # Somebody else's key under a name that is known here.
    assert word(signed(case, (robin, "Sam Halden")), sam) == "wrongly signed"
    assert word(signed(case, (robin, ""), (sam, "Robin Skerry")), robin) == "wrongly signed"
    assert word(signed(case, (robin, ""), (sam, "R\u043ebin Skerry")), robin) == "wrongly signed", "a Cyrillic o"
    assert word(signed(case, (robin, ""), (sam, "Robin Skerrie")), robin) == "signed", "the name of somebody else"


def test_written_to_after_it_was_signed(robin: keys.Private) -> None:
    case = trail("worn-plug")
    early = signed(case[:-1], (robin, ""))
    log = Memory(early)
    log.append_all(case[0].case, [("shop-finding", case[-1].body)], WHEN)
    found = trust(NOWHERE, log.events(case[0].case), (), {robin.public: robin.name}, replay=False)
    assert found.signed == "signed, then written to" and not trouble(found)
    assert any("event 154 (shop-finding)" in said for said in found.said)
    assert word(signed(log.events(case[0].case), (robin, "")), robin) == "signed"


def test_a_signature_holds_for_one_state_of_one_case(robin: keys.Private) -> None:
    case = trail("taken-back")
    good = signed(case, (robin, ""))
    assert any("while the case was open" in s for s in trust(NOWHERE, good, (), {robin.public: "Robin Skerry"}).said)
    from dataclasses import replace

    body = good[-1].body
    elsewhere = Memory(trail("worn-plug"))
    elsewhere.append_all("104-2-0110-a001", [("signed", body)], WHEN)
    assert word(elsewhere.events("104-2-0110-a001"), robin) == "wrongly signed"
    edited = reseal([replace(good[0], body={**good[0].body, "x": 1}), *good[1:]])
    assert word(edited, robin) == "wrongly signed"
    for change in (
        {"by": "Other"},
        {"seq": 3},
        {"hash": "0" * 64},
        {"signature": "00" * 64},
        {"signature": "zz"},
        {"key": "00" * 32},
        {"key": None},
        {"seq": "61"},
        {"seq": True},
        # Beside what was signed nothing is said, and a name is on one line.
        {"released": "yes"},
    ):
        bad = reseal([*case, replace(good[-1], body={**body, **change})])
        assert word(bad, robin) == "wrongly signed", change
    # Another key's signature with the key's name left in place is no signature of that key.
    assert trouble(trust(NOWHERE, edited, (), {robin.public: robin.name}, replay=False))


@pytest.mark.parametrize(
    "by",
    ["Robin Skerry\nSigned by Sam Halden (event 62), up to event 61.", "Robin  Skerry", " Robin", "R\u202eobin",
     "Ro\u200bbin", "x" * 81, "", "\x1b[32mRobin\x1b[0m", "Robin\u00a0Skerry"],
)  # fmt: skip
def test_a_name_that_nobody_can_have_signed_with_is_wrong(robin: keys.Private, by: str) -> None:
    case = trail("taken-back")
    last = case[-1]
    own = robin.secret.sign(keys.statement(last.case, last.seq, last.hash, by)).hex()
    log = Memory(case)
    body = {"by": by, "key": robin.public, "seq": last.seq, "hash": last.hash, "signature": own}
    log.append_all(last.case, [("signed", body)], WHEN)
    for known in ({}, {robin.public: robin.name}):
        found = trust(NOWHERE, log.events(last.case), (), known, replay=False)
        assert found.signed == "wrongly signed" and trouble(found)
        assert all(c.isprintable() or c == "\u00a0" for c in "".join((*found.said, found.signatures[0].by)))
        assert not any(s.startswith("Signed by") for s in found.said)


def test_the_short_form_of_a_key() -> None:
    # The first 16 digits of FIPS 180-4's SHA-256 of 32 zero bytes, as any other program gives it (memory).
    assert keys.short("00" * 32) == "6668 7aad f862 bd77"
