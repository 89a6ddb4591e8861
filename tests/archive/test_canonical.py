"""Records are sealed in the canonical JSON of RFC 8785, under SHA-256: both against published values.

RFC 8785: cyberphone/json-canonicalization, testdata/input/values.json and testdata/README.md (SEEN: 6.7 and 6.8 of the
reference tables). SHA-256: examples of FIPS 180-4 (from memory, equal when computed: 6.4).
"""

from __future__ import annotations

import struct

import pytest

from prepcheck.archive.statement import canonical, sha256

VALUES = {
    "numbers": [333333333.33333329, 1e30, 4.50, 2e-3, 0.000000000000000000000000001],
    "string": "€$\u000f\u000aA'\u0042\u0022\u005c\\\"/",
    "literals": [None, True, False],
}
VALUES_OUT = (
    '{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],'
    '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
)


def test_the_published_sample():
    assert canonical(VALUES).decode() == VALUES_OUT


@pytest.mark.parametrize(
    ("bits", "text"),
    [
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("3eb0c6f7a0b5ed8c", "9.999999999999997e-7"),
        ("8000000000000000", "0"),
        ("4340000000000001", "9007199254740994"),
    ],
)
def test_the_published_forms_of_numbers(bits, text):
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert canonical([number]).decode() == f"[{text}]"


def test_the_order_of_keys_does_not_matter():
    assert canonical({"b": 1, "a": 2}) == canonical({"a": 2, "b": 1})


@pytest.mark.parametrize("number", [float("nan"), float("inf")])
def test_what_json_cannot_say_is_refused(number):
    with pytest.raises(ValueError, match="not"):
        canonical([number])


@pytest.mark.parametrize(
    ("data", "start", "end"),
    [
        (b"", "e3b0c442", "7852b855"),
        (b"abc", "ba7816bf", "f20015ad"),
        (b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq", "248d6a61", "19db06c1"),
        (b"a" * 1_000_000, "cdc76e5c", "c7112cd0"),
    ],
)
def test_the_published_hashes(data, start, end):
    assert sha256(data).startswith(start)
    assert sha256(data).endswith(end)
