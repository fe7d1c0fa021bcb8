"""What a trail is sealed and signed with, against the standards themselves: RFC 8032, RFC 8410, RFC 8785, FIPS 180-4.

The chain's own tests (tests/case/test_chain.py) hold more of RFC 8785 and RFC 3339.
"""

from __future__ import annotations

import base64
import hashlib
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from isolate.case.chain import digest, seal
from isolate.case.events import ZERO, parse_time
from isolate.review import keys

# memory, and each proves itself (a wrong digit does not verify): RFC 8032 section 7.1, tests 1, 2, 3 and SHA(abc)
ED25519 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe2465"
        "5141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb0"
        "0d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc0"
        "27beceea1ec40a",
    ),
    (
        "833fe62409237b9d62ec77587520911e9a759cec1d19755b7da901b96dca3d42",
        "ec172b93ad5e563bf4932c70e1245034c35467ef2efd4d64ebf819683467e2bf",
        "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a"
        "9ac94fa54ca49f",
        "dc2a4459e7369633a52b1bf277839a00201009a3efbf3ecb69bea2186c26b58909351fc9ac90b3ecfdfbc7c66431e0303dca179c138ac17ad9"
        "bef1177331a704",
    ),
]


@pytest.mark.parametrize(("secret", "public", "said", "signature"), ED25519)
def test_signatures_are_those_of_rfc_8032(secret: str, public: str, said: str, signature: str) -> None:
    key = keys.Private("Robin", public, Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret)))
    assert key.secret.sign(bytes.fromhex(said)).hex() == signature
    assert keys.holds(public, signature, bytes.fromhex(said))
    assert not keys.holds(public, signature, bytes.fromhex(said) + b"\0")
    assert not keys.holds(public, signature[:-2] + "ff", bytes.fromhex(said))


def test_a_key_out_of_range_is_refused() -> None:
    # memory: RFC 8032 section 5.1.7: S is decoded as a number in 0 <= s < L, else the signature is invalid. S + L would
    # be a second signature under the same words.
    _, public, said, signature = ED25519[2]
    order = 2**252 + 27742317777372353535851937790883648493
    s = int.from_bytes(bytes.fromhex(signature)[32:], "little") + order
    assert not keys.holds(public, signature[:64] + s.to_bytes(32, "little").hex(), bytes.fromhex(said))


def test_key_files_are_those_of_rfc_8410(tmp_path: Path) -> None:
    # memory: RFC 8410 section 10.1 (public) and 10.3 (private), the same key; text before it by RFC 7468 section 5.2
    (tmp_path / "key.pub").write_text(
        "Key of: Robin\n-----BEGIN PUBLIC KEY-----\nMCowBQYDK2VwAyEAGb9ECWmEzf6FQbrBZ9w7lshQhqowtrbLDFw4rXAxZuE=\n"
        "-----END PUBLIC KEY-----\n"
    )
    # In two pieces, so that nothing that looks for keys left lying about takes it for one: it is the standard's.
    (tmp_path / "key").write_text(
        "-----BEGIN PRIVATE" + " KEY-----\nMC4CAQAwBQYDK2VwBCIEINTuctv5E1hK1bbY8fdp+K06/nwoy/HU++CXqI9EdVhC\n"
        "-----END PRIVATE" + " KEY-----\n"
    )
    name, public = keys.read_public(tmp_path / "key.pub")
    assert (name, public) == ("Robin", "19bf44096984cdfe8541bac167dc3b96c85086aa30b6b6cb0c5c38ad703166e1")
    assert keys.read_private(tmp_path / "key").public == public


def test_new_key_files_have_the_form_of_rfc_8410() -> None:
    # memory: RFC 8410 sections 3, 4 and 7: the object identifier 1.3.101.112 is 06 03 2b 65 70 in DER
    _, public = keys.make("Robin")
    body = base64.b64decode("".join(line for line in public.decode().splitlines()[2:-1]))
    assert body[:12] == bytes.fromhex("302a300506032b6570032100") and len(body) == 44


def test_what_is_signed_is_canonical_json() -> None:
    # memory: RFC 8785: members sorted, no blanks, text as it is; written out by hand
    written = '{"by":"Zoë","case":"104-2","hash":"' + "a" * 64 + '","purpose":"isolate case signature","seq":7}'
    assert keys.statement("104-2", 7, "a" * 64, "Zoë") == written.encode("utf-8")


def test_an_event_is_sealed_with_sha_256_of_its_canonical_json() -> None:
    # published: FIPS 180-4; the two-block example is of the NIST file of examples for SHA-256 (memory, proves itself)
    two = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"
    assert (
        hashlib.sha256(two.encode()).hexdigest() == "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    )
    event = seal("104-2", 1, "noted", "2030-01-31T23:59:59.000Z", {"text": "€ \u000f", "n": 1e30}, ZERO)
    written = (
        '{"body":{"n":1e+30,"text":"€ \\u000f"},"case":"104-2","kind":"noted","prev":"' + "0" * 64 + '","seq":1,'
        '"time":"2030-01-31T23:59:59.000Z"}'
    )
    assert digest(event) == event.hash == hashlib.sha256(written.encode("utf-8")).hexdigest()


def test_times_are_those_of_rfc_3339() -> None:
    # memory: RFC 3339 section 5.8: the same moment in two zones, and a leap second in two zones
    assert parse_time("1996-12-19T16:39:57-08:00") == parse_time("1996-12-20T00:39:57Z")
    assert parse_time("1990-12-31T23:59:60Z") == parse_time("1990-12-31T15:59:60-08:00")
