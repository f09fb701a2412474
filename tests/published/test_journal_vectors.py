"""Hashes, canonical JSON, Merkle trees and signatures against the vectors their standards publish."""

import hashlib
import json
import struct

import pytest

from pipeline.errors import ReelproofError
from pipeline.lots import verify_pack
from pipeline.lots.canonical import canonical_bytes, canonical_text, number_text
from pipeline.lots.merkle import (
    EMPTY_ROOT,
    consistency_proof,
    inclusion_proof,
    leaf_hash,
    node_hash,
    root_hash,
)
from pipeline.lots.signing import is_signed, public_key, sign
from tests.published.worked_cases import rows


@pytest.mark.parametrize(
    ("message", "digest"),
    [
        (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
        (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    ],
)
def test_sha_256(message: bytes, digest: str) -> None:
    """FIPS 180-2, appendix B, one-block, two-block and long messages (digests from memory)."""
    assert hashlib.sha256(message).hexdigest() == digest


@pytest.mark.parametrize("row", rows("JCS-APPENDIX-B"), ids=lambda row: row["text"])
def test_numbers_of_canonical_json(row: dict[str, str]) -> None:
    """RFC 8785, appendix B."""
    (value,) = struct.unpack(">d", bytes.fromhex(row["ieee754"]))
    if row["text"] in ("NaN", "Infinity"):
        with pytest.raises(ReelproofError):
            number_text(value)
    else:
        assert number_text(value) == row["text"]


def test_the_sample_object_of_canonical_json() -> None:
    """RFC 8785, 3.2.2 to 3.2.4: the sample, its canonical form and its UTF-8 bytes."""
    sample = r"""{
      "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
      "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
      "literals": [null, true, false]
    }"""
    expected = (
        "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c226e756d62657273223a5b3333333333333333332e"
        "333333333333332c31652b33302c342e352c302e3030322c31652d32375d2c22737472696e67223a22e282ac245c75303030665c"
        "6e4127425c225c5c5c5c5c222f227d"
    )
    text = canonical_text(json.loads(sample))
    assert text == (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )
    assert canonical_bytes(json.loads(sample)) == bytes.fromhex(expected)


def test_names_are_sorted_by_utf_16() -> None:
    """RFC 8785, 3.2.3: the sorting sample; the surrogate pair of the emoji sorts before U+FB33."""
    sample = json.loads(
        r'{"\u20ac":"Euro Sign","\r":"Carriage Return","\ufb33":"Hebrew Letter Dalet With Dagesh","1":"One",'
        r'"\ud83d\ude00":"Emoji: Grinning Face","\u0080":"Control","\u00f6":"Latin Small Letter O With Diaeresis"}'
    )
    assert list(json.loads(canonical_text(sample)).values()) == [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (
            '{"1":{"f":{"f":"hi","F":5},"\\n":56.0},"10":{},"":"empty","a":{},"111":[{}],"A":{}}',
            '{"":"empty","1":{"\\n":56,"f":{"F":5,"f":"hi"}},"10":{},"111":[{}],"A":{},"a":{}}',
        ),
        ('[56,{"d":true,"10":null,"1":[]}]', '[56,{"1":[],"10":null,"d":true}]'),
        (
            (
                '{"peach":"This sorting order","péché":"is wrong according to French",'
                '"pêche":"but canonicalization MUST","sin":"ingnore locale"}'
            ),
            (
                '{"peach":"This sorting order","péché":"is wrong according to French",'
                '"pêche":"but canonicalization MUST","sin":"ingnore locale"}'
            ),
        ),
        ('{"Unnormalized Unicode":"A\\u030a"}', '{"Unnormalized Unicode":"A\u030a"}'),
    ],
)
def test_the_reference_files_of_canonical_json(given: str, expected: str) -> None:
    """Test files structures, arrays, french and unicode of the RFC's authors' public test data."""
    assert canonical_text(json.loads(given)) == expected


# The tree that public implementations of certificate transparency test themselves against.
RECORDS = [
    bytes.fromhex(data)
    for data in (
        "",
        "00",
        "10",
        "2021",
        "3031",
        "40414243",
        "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]
LEAVES = [leaf_hash(one) for one in RECORDS]
ROOTS = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
INCLUSION = {
    (0, 1): [],
    (0, 8): [
        "96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4",
    ],
    (5, 8): [
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ],
    (2, 3): ["fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"],
    (1, 5): [
        "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    ],
}
CONSISTENCY = {
    (1, 1): [],
    (1, 8): INCLUSION[(0, 8)],
    (6, 8): [
        "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
        "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
        "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    ],
    (2, 5): [
        "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
        "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
    ],
}


@pytest.mark.parametrize("size", range(9))
def test_merkle_roots(size: int) -> None:
    """RFC 6962 / RFC 9162, 2.1.1, with the public reference tree of eight leaves."""
    assert root_hash(LEAVES[:size]).hex() == ROOTS[size]


@pytest.mark.parametrize(("place", "size"), INCLUSION)
def test_merkle_inclusion_proofs(place: int, size: int) -> None:
    """RFC 9162, 2.1.3, with the public reference proofs."""
    proof = inclusion_proof(place, LEAVES[:size])
    assert [one.hex() for one in proof] == INCLUSION[(place, size)]
    assert verify_pack.included(RECORDS[place], place + 1, size, list(proof), bytes.fromhex(ROOTS[size]))


@pytest.mark.parametrize(("earlier", "later"), CONSISTENCY)
def test_merkle_consistency_proofs(earlier: int, later: int) -> None:
    """RFC 9162, 2.1.4, with the public reference proofs."""
    proof = consistency_proof(earlier, LEAVES[:later])
    assert [one.hex() for one in proof] == CONSISTENCY[(earlier, later)]
    old, new = (bytes.fromhex(ROOTS[size]) for size in (earlier, later))
    assert verify_pack.consistent(earlier, later, old, new, proof)


def plain_root(leaves: list[bytes]) -> bytes:
    """RFC 9162, 2.1.1, as the definition reads."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    k = 1
    while 2 * k < len(leaves):
        k *= 2
    return hashlib.sha256(b"\x01" + plain_root(leaves[:k]) + plain_root(leaves[k:])).digest()


def test_every_proof_of_trees_of_up_to_forty_leaves() -> None:
    """Roots equal the definition; every proof shows what it should and nothing beside it."""
    records = [str(n).encode() for n in range(40)]
    leaves = [leaf_hash(one) for one in records]
    roots = [plain_root(leaves[:size]) for size in range(41)]
    for size in range(1, 41):
        assert root_hash(leaves[:size]) == roots[size]
        for place in range(size):
            proof = list(inclusion_proof(place, leaves[:size]))
            assert verify_pack.included(records[place], place + 1, size, proof, roots[size])
            assert not verify_pack.included(records[place], place + 1, size, proof, roots[size - 1])
            other = (place + 1) % size
            assert other == place or not verify_pack.included(
                records[place], other + 1, size, proof, roots[size]
            )
        for earlier in range(1, size + 1):
            proof = consistency_proof(earlier, leaves[:size])
            assert verify_pack.consistent(earlier, size, roots[earlier], roots[size], proof)
            assert not verify_pack.consistent(earlier, size, roots[earlier - 1], roots[size], proof)
            assert not proof or not verify_pack.consistent(
                earlier, size, roots[earlier], roots[size], proof[:-1]
            )


def test_a_node_does_not_pass_for_a_leaf() -> None:
    """RFC 9162, 2.1.1: without the prefixes two nodes would forge a tree of two leaves."""
    records = [b"a", b"b", b"c", b"d"]
    honest = root_hash([leaf_hash(one) for one in records])
    left, right = (node_hash(leaf_hash(a), leaf_hash(b)) for a, b in (records[:2], records[2:]))
    assert node_hash(left, right) == honest
    forged = [
        leaf_hash(leaf_hash(records[0]) + leaf_hash(records[1])),
        leaf_hash(leaf_hash(records[2]) + leaf_hash(records[3])),
    ]
    assert root_hash(forged) != honest
    assert root_hash([]) == EMPTY_ROOT
    three = root_hash([leaf_hash(one) for one in (b"a", b"b", b"c")])
    assert three.hex() == "36642e73c2540ab121e3a6bf9545b0a24982cd830eb13d3cd19de3ce6c021ec1"


SIGNATURES = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        (
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0"
            "595bbe24655141438e7a100b"
        ),
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        (
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eae"
            "b4302aeeb00d291612bb0c00"
        ),
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        (
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9"
            "716ed28dc027beceea1ec40a"
        ),
    ),
]


@pytest.mark.parametrize(("private", "public", "message", "signature"), SIGNATURES)
def test_ed25519(private: str, public: str, message: str, signature: str) -> None:
    """RFC 8032, 7.1, tests 1 to 3."""
    key, text = bytes.fromhex(private), bytes.fromhex(message)
    assert public_key(key).hex() == public
    assert sign(key, text).hex() == signature
    assert is_signed(bytes.fromhex(public), text, bytes.fromhex(signature))
    assert not is_signed(bytes.fromhex(public), text + b"x", bytes.fromhex(signature))
