"""RSA keys and RSASSA-PKCS1-v1_5: against Wycheproof, `cryptography`, the openssl program, and forgers."""

import hashlib
import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric import ec, padding
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.seal.public_keys import DIGEST_INFO, KeyRefused, read_public_key, signature_holds
from tests.rules.seal.certs import HASHES, private_key, sign, spki

# Wycheproof (C2SP), Apache-2.0: signatures that are right, wrong, and wrong in ways others have accepted.
VECTORS: dict[str, Any] = json.loads(
    (Path(__file__).parents[2] / "reference" / "rsa_pkcs1_wycheproof.json").read_text(encoding="utf-8")
)


@pytest.mark.parametrize(
    "group", VECTORS["groups"], ids=lambda group: f"{group['file']}-{group['key'][60:72]}"
)
def test_vectors_of_wycheproof(group: dict[str, Any]) -> None:
    key = read_public_key(bytes.fromhex(group["key"]))
    for number, comment, message, signature, result, flags in group["tests"]:
        holds = signature_holds(key, bytes.fromhex(signature), bytes.fromhex(message), group["hash"])
        # "acceptable" there is a digest algorithm without its NULL, which RFC 8017 lets no signer write.
        assert (result != "acceptable") or flags == ["MissingNull"]
        assert holds is (result == "valid"), (number, comment)


def test_there_are_enough_vectors_of_each_verdict() -> None:
    verdicts = [result for group in VECTORS["groups"] for *_, result, _ in group["tests"]]
    assert verdicts.count("valid") > 20
    assert verdicts.count("invalid") > 700


@pytest.mark.parametrize("bits", [2048, 3072])
@pytest.mark.parametrize("hash_name", sorted(HASHES))
def test_signatures_of_the_cryptography_library_hold(bits: int, hash_name: str) -> None:
    private = private_key(bits)
    key = read_public_key(spki(private))
    signature = sign(private, b"evidence", hash_name)
    assert key.bits == bits
    assert key.modulus == private.public_key().public_numbers().n
    assert key.sha256 == hashlib.sha256(spki(private)).hexdigest()
    assert signature_holds(key, signature, b"evidence", hash_name)
    assert not signature_holds(key, signature, b"evidence.", hash_name)
    for other in set(HASHES) - {hash_name}:
        assert not signature_holds(key, signature, b"evidence", other)
    stranger = read_public_key(spki(private_key(bits, number=1)))
    assert not signature_holds(stranger, signature, b"evidence", hash_name)


@pytest.mark.parametrize("hash_name", sorted(HASHES))
def test_openssl_says_the_same(hash_name: str, tmp_path: Path) -> None:
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("no openssl program")
    private = private_key()
    (tmp_path / "key.pem").write_bytes(
        private.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    )
    (tmp_path / "data").write_bytes(b"evidence")
    key = read_public_key(spki(private))
    good = sign(private, b"evidence", hash_name)
    for signature in (good, good[:-1] + bytes([good[-1] ^ 1])):
        (tmp_path / "sig").write_bytes(signature)
        done = subprocess.run(
            [openssl, "dgst", f"-{hash_name}", "-verify", "key.pem", "-signature", "sig", "data"],
            cwd=tmp_path, capture_output=True, check=False, timeout=60,
        )  # fmt: skip
        assert (done.returncode == 0) is signature_holds(key, signature, b"evidence", hash_name)


def cube_root_above(value: int) -> int:
    low, high = 0, 1 << (value.bit_length() // 3 + 1)
    while low < high:
        middle = (low + high) // 2
        if middle * middle * middle < value:
            low = middle + 1
        else:
            high = middle
    return low


def reads_the_padding(opened: bytes, told: bytes) -> bool:
    """How a careless checker looks: 00 01, some FF, 00, then the digest; what follows it is not looked at."""
    body = opened[2:].lstrip(b"\xff")
    return opened[:2] == b"\x00\x01" and body[:1] == b"\x00" and body[1 : 1 + len(told)] == told


def forge(data: bytes, length: int) -> int:
    """A number whose cube begins like a signed message, made without any key (Bleichenbacher, 2006)."""
    told = DIGEST_INFO["sha256"] + hashlib.sha256(data).digest()
    start = b"\x00\x01" + b"\xff" * 8 + b"\x00" + told
    return cube_root_above(int.from_bytes(start + bytes(length - len(start)), "big"))


def test_a_signature_forged_from_short_padding_does_not_hold() -> None:
    private = private_key(exponent=3)
    key = read_public_key(spki(private))
    assert key.exponent == 3
    assert signature_holds(key, sign(private, b"evidence"), b"evidence")
    number = forge(b"never signed", 256)
    forged = number.to_bytes(256, "big")
    told = DIGEST_INFO["sha256"] + hashlib.sha256(b"never signed").digest()
    # It is a forgery that a careless checker takes.
    assert reads_the_padding((number * number * number).to_bytes(256, "big"), told)
    assert not signature_holds(key, forged, b"never signed")
    with pytest.raises(InvalidSignature):
        private.public_key().verify(forged, b"never signed", padding.PKCS1v15(), HASHES["sha256"])


def raw_signature(opened: bytes) -> bytes:
    """The signature that opens to exactly these bytes, made with the private exponent."""
    private = private_key()
    numbers = private.private_numbers()
    value = pow(int.from_bytes(opened, "big"), numbers.d, numbers.public_numbers.n)
    return value.to_bytes(256, "big")


def padded(told: bytes, *, head: bytes = b"\x00\x01", fill: bytes = b"\xff", mark: bytes = b"\x00") -> bytes:
    return head + fill * (256 - len(head) - len(mark) - len(told)) + mark + told


TOLD = DIGEST_INFO["sha256"] + hashlib.sha256(b"evidence").digest()
WITHOUT_NULL = bytes.fromhex("302f300b0609608648016503040201") + b"\x04\x20" + TOLD[-32:]


def test_the_signature_that_opens_to_the_right_padding_holds() -> None:
    assert signature_holds(read_public_key(spki(private_key())), raw_signature(padded(TOLD)), b"evidence")


@pytest.mark.parametrize(
    "opened",
    [
        padded(TOLD, head=b"\x00\x02"),
        padded(TOLD, head=b"\x00\x00"),
        padded(TOLD, fill=b"\xfe"),
        padded(TOLD, mark=b"\x01"),
        padded(WITHOUT_NULL),
        padded(TOLD[:-1] + bytes([TOLD[-1] ^ 1])),
        padded(TOLD + b"\x00"),
        padded(TOLD[-32:]),
        padded(DIGEST_INFO["sha512"] + TOLD[-32:]),
        b"\x00\x01" + b"\xff" * 8 + b"\x00" + TOLD + bytes(256 - 11 - len(TOLD)),
        padded(bytes([TOLD[0], 0x81, TOLD[1]]) + TOLD[2:]),
    ],
    ids=["type 2", "type 0", "not ff", "no zero", "no NULL", "other digest", "a byte after", "bare digest",
         "other hash", "short padding", "long length"],
)  # fmt: skip
def test_wrong_paddings_do_not_hold(opened: bytes) -> None:
    signature = raw_signature(opened)
    assert not signature_holds(read_public_key(spki(private_key())), signature, b"evidence")
    with pytest.raises(InvalidSignature):
        private_key().public_key().verify(signature, b"evidence", padding.PKCS1v15(), HASHES["sha256"])


def test_lengths_and_sizes_of_signatures() -> None:
    private = private_key()
    key = read_public_key(spki(private))
    good = sign(private, b"evidence")
    more = int.from_bytes(good, "big") + key.modulus
    for wrong in (b"", good[:-1], good + b"\x00", b"\x00" + good, bytes(256), b"\xff" * 256):
        assert not signature_holds(key, wrong, b"evidence")
    if more < 1 << 2048:
        # The same number again, one modulus further: RFC 8017 section 5.2.2 step 1.
        assert not signature_holds(key, more.to_bytes(256, "big"), b"evidence")
    with pytest.raises(KeyError):
        signature_holds(key, good, b"evidence", "sha1")


@given(st.integers(min_value=0, max_value=2047), st.binary(max_size=64))
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_turned_bit_is_seen(bit: int, data: bytes) -> None:
    private = private_key()
    key = read_public_key(spki(private))
    signature = bytearray(sign(private, data))
    assert signature_holds(key, bytes(signature), data)
    signature[bit // 8] ^= 1 << bit % 8
    assert not signature_holds(key, bytes(signature), data)


def code_of(spki_der: bytes) -> str:
    with pytest.raises(KeyRefused) as refused:
        read_public_key(spki_der)
    return refused.value.code


def number(value: int) -> bytes:
    content = value.to_bytes(value.bit_length() // 8 + 1, "big")
    return tlv(0x02, content)


def tlv(tag: int, content: bytes) -> bytes:
    length = len(content)
    if length < 0x80:
        return bytes([tag, length]) + content
    octets = length.to_bytes((length.bit_length() + 7) // 8, "big")
    return bytes([tag, 0x80 | len(octets)]) + octets + content


RSA_OID = bytes.fromhex("06092a864886f70d010101")


def key_bytes(
    modulus: bytes, exponent: bytes, *, parameters: bytes = b"\x05\x00", oid: bytes = RSA_OID
) -> bytes:
    numbers = tlv(0x30, modulus + exponent)
    return tlv(0x30, tlv(0x30, oid + parameters) + tlv(0x03, b"\x00" + numbers))


ODD = (1 << 2047) | 1


def test_keys_one_step_around_the_limits() -> None:
    assert read_public_key(key_bytes(number(ODD), number(65537))).bits == 2048
    assert code_of(key_bytes(number((1 << 2047) - 1), number(65537))) == "too_short"
    assert code_of(spki(private_key(1024))) == "too_short"
    assert read_public_key(key_bytes(number((1 << 16383) | 1), number(3))).bits == 16384
    assert code_of(key_bytes(number((1 << 16384) | 1), number(3))) == "too_long"
    assert read_public_key(key_bytes(number(ODD), number((1 << 255) | 1))).exponent > 1 << 254
    assert code_of(key_bytes(number(ODD), number((1 << 256) | 1))) == "too_long"
    assert code_of(key_bytes(number(ODD), number(1))) == "bad_numbers"
    assert code_of(key_bytes(number(ODD), number(4))) == "bad_numbers"
    assert code_of(key_bytes(number(ODD + 1), number(3))) == "bad_numbers"
    assert code_of(key_bytes(tlv(2, b"\x80" + bytes(255)), number(3))) == "bad_numbers"
    assert code_of(key_bytes(number(ODD), tlv(2, b"\x00"))) == "bad_numbers"


def test_keys_that_are_not_written_in_the_one_form() -> None:
    good = key_bytes(number(ODD), number(3))
    for wrong in (
        b"", good[:-1], good + b"\x00", b"\x31" + good[1:],
        key_bytes(b"\x02\x82\x01\x02\x00" + number(ODD)[4:], number(3)),
        key_bytes(number(ODD), b"\x02\x02\x00\x03"),
        key_bytes(number(ODD), number(3) + number(5)),
        key_bytes(number(ODD), number(3), parameters=b""),
        key_bytes(number(ODD), number(3), parameters=b"\x05\x01\x00"),
        key_bytes(number(ODD), number(3), parameters=b"\x05\x00\x05\x00"),
    ):  # fmt: skip
        assert code_of(wrong) == "not_der", wrong.hex()[:60]
    elliptic = ec.generate_private_key(ec.SECP256R1()).public_key()
    assert code_of(elliptic.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)) == "not_rsa"


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_damaged_keys_are_refused_or_are_another_key(data: st.DataObject) -> None:
    good = spki(private_key())
    place = data.draw(st.integers(min_value=0, max_value=len(good) - 1))
    value = data.draw(st.integers(min_value=0, max_value=255))
    damaged = good[:place] + bytes([value]) + good[place + 1 :]
    try:
        key = read_public_key(damaged)
    except KeyRefused:
        return
    assert (key.modulus, key.exponent) != (read_public_key(good).modulus, 65537) or damaged == good
