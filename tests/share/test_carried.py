"""The carried code: canonical, deflated, signed, and what is left out of it first."""

from __future__ import annotations

import base64
import hashlib
import json
import zlib
from pathlib import Path

import attrs
import pytest
import rfc8785

from corekit.share.carried import (
    LONGEST,
    CarriedContent,
    Outcome,
    Row,
    carried_code,
    is_condition,
    is_unchanged_pass,
    mark_of,
    open_carried,
)
from corekit.share.keys import LinkKeyError
from corekit.share.signing import (
    SigningKey,
    create_signing_key,
    fingerprint,
    is_signed_by,
    public_keys,
    read_signing_key,
)

#: RFC 8032, section 7.1, tests 1 to 3: secret key, public key, message, signature.
VECTORS = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46b"
        "d25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c"
        "387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc659"
        "4a7c15e9716ed28dc027beceea1ec40a",
    ),
]
KEY = SigningKey(bytes(range(32)))
FAIL: Row = ("starting.load_voltage", "", "V", "8.40", "10.30", "9.6", "", "f", "p")
PASS: Row = ("starting.charging_voltage", "", "V", "14.52", "", "14.2", "14.9", "p", "")
WARMTH: Row = ("starting.temperature", "", "°C", "4", "", "", "", "", "")
CONTENT = CarriedContent(
    number="2026-A0001",
    issued="29 Nov 2026",
    currency="EUR",
    total="366.60",
    rows=(FAIL, PASS, WARMTH),
    works=(("starting.replace", "205.50"), ("call-out", "20.00")),
)


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_the_vectors_of_rfc_8032_are_reproduced(
    secret: str, public: str, message: str, signature: str
) -> None:
    key = SigningKey(bytes.fromhex(secret))
    assert key.public.hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == signature
    assert is_signed_by(key.public, bytes.fromhex(message), bytes.fromhex(signature))
    assert not is_signed_by(key.public, bytes.fromhex(message) + b"x", bytes.fromhex(signature))


def test_a_code_is_canonical_json_deflated_signed_and_checked_as_the_document_says() -> None:
    """Taken apart with the standard library and an RFC 8785 library alone."""
    code = carried_code(CONTENT, KEY)
    assert code is not None
    whole = base64.urlsafe_b64decode(code.fragment + "=" * (-len(code.fragment) % 4))
    packed, signature, check = whole[:-68], whole[-68:-4], whole[-4:]
    text = zlib.decompress(packed, -15)
    assert text == rfc8785.dumps(json.loads(text))
    assert json.loads(text) == {
        "a": "2026-A0001|29 Nov 2026|366.60|EUR",
        "f": "",
        "r": "/starting;load_voltage||V|8.40|10.30|9.6||f|p;charging_voltage||V|14.52||14.2|14.9|p;"
        "temperature||°C|4",
        "w": "/starting;replace|205.50/;call-out|20.00",
    }
    assert [tuple(row) for row in open_carried(code.fragment, {}).content["rows"]] == list(CONTENT.rows)
    assert is_signed_by(KEY.public, b"corekit carried code 1\n" + packed, signature)
    assert hashlib.sha256(whole[:-4]).digest()[:4] == check
    assert len(code.fragment) <= LONGEST
    assert code.mark == mark_of(code.fragment)


def test_the_four_outcomes_and_never_a_word_of_trust() -> None:
    code = carried_code(CONTENT, KEY)
    assert code is not None
    keys = {KEY.name: KEY.public}
    found = open_carried(code.fragment, keys)
    assert (found.outcome, found.key) == (Outcome.MATCHES, KEY.name)
    assert found.content["total"] == "366.60"
    stranger = SigningKey(bytes(32))
    unknown = open_carried(code.fragment, {stranger.name: stranger.public})
    assert unknown.outcome is Outcome.UNKNOWN
    assert unknown.content["total"] == "366.60"
    assert not any(word in outcome for outcome in Outcome for word in ("genuine", "valid", "true", "✓"))


def test_one_changed_bit_anywhere_is_named_as_altered() -> None:
    code = carried_code(CONTENT, KEY)
    assert code is not None
    whole = bytearray(base64.urlsafe_b64decode(code.fragment + "=" * (-len(code.fragment) % 4)))
    for bit in range(len(whole) * 8):
        whole[bit // 8] ^= 1 << bit % 8
        fragment = base64.urlsafe_b64encode(whole).decode().rstrip("=")
        assert open_carried(fragment, {KEY.name: KEY.public}).outcome is Outcome.ALTERED, bit
        whole[bit // 8] ^= 1 << bit % 8
    for text in (
        "",
        "A",
        code.fragment[:-1],
        code.fragment + "A",
        "é" * 50,
        code.fragment.replace("_", "/") + "=",
    ):
        assert open_carried(text, {KEY.name: KEY.public}).outcome is Outcome.ALTERED


def random_rows(like: Row, count: int) -> tuple[Row, ...]:
    """Rows that do not shrink when they are deflated: their names are hashes."""
    names = (hashlib.sha256(f"{like}{n}".encode()).hexdigest()[:16] for n in range(count))
    return tuple((name, *like[1:]) for name in names)  # type: ignore[misc]


def test_what_is_too_much_goes_in_order_unchanged_passes_then_conditions() -> None:
    fails, passes, warmths = random_rows(FAIL, 4), random_rows(PASS, 8), random_rows(WARMTH, 4)
    much = attrs.evolve(CONTENT, rows=fails + passes + warmths)
    code = carried_code(much, KEY)
    assert code is not None
    assert code.passes_left_out > 0
    kept = [tuple(row) for row in open_carried(code.fragment, {KEY.name: KEY.public}).content["rows"]]
    assert [row for row in kept if row in fails] == list(fails)
    if any(is_unchanged_pass(row) for row in kept):  # type: ignore[arg-type]
        assert code.conditions_left_out == 0
    more = attrs.evolve(CONTENT, rows=random_rows(FAIL, 7) + warmths)
    tight = carried_code(more, KEY)
    assert tight is not None
    assert tight.passes_left_out == 0


def test_where_even_what_may_never_go_is_too_much_there_is_no_code() -> None:
    assert carried_code(attrs.evolve(CONTENT, rows=random_rows(FAIL, 40)), KEY) is None


@pytest.mark.parametrize(
    ("row", "passes", "condition"),
    [
        (FAIL, False, False),
        (PASS, True, False),
        (WARMTH, False, True),
        ((*PASS[:4], "14.6", *PASS[5:8], "p"), False, False),  # an after reading
        ((*PASS[:7], "u", ""), False, False),  # undecided
        ((*WARMTH[:4], "5", *WARMTH[5:]), False, False),  # a condition that was read after the work
    ],
)
def test_what_may_be_left_out_and_what_never(row: Row, passes: bool, condition: bool) -> None:
    assert (is_unchanged_pass(row), is_condition(row)) == (passes, condition)


def test_a_key_is_made_once_kept_private_and_its_public_half_stays(tmp_path: Path) -> None:
    path = tmp_path / "keys" / "sign.key"
    key = create_signing_key(path)
    assert read_signing_key(path) == key
    assert path.stat().st_mode & 0o077 == 0
    assert public_keys(path.parent) == {fingerprint(key.public): key.public}
    with pytest.raises(LinkKeyError, match="never written over"):
        create_signing_key(path)
    kept = path.read_text()
    path.write_text(kept[:-3] + ("01" if kept[-3:-1] == "00" else "00") + "\n")
    path.chmod(0o600)
    with pytest.raises(LinkKeyError, match="no whole signing key"):
        read_signing_key(path)
    path.chmod(0o644)
    with pytest.raises(LinkKeyError, match="chmod 600"):
        read_signing_key(path)
