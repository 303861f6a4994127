"""Certificates read without a library, against what the `cryptography` library reads from the same bytes."""

from datetime import UTC, datetime, timedelta
from functools import cache

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509.oid import NameOID, ObjectIdentifier
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.seal.certificates import is_signed_by, read_certificate
from rules.seal.der import DerError
from rules.seal.public_keys import KeyRefused
from tests.rules.seal.certs import BEGIN, END, HASHES, certificate, name, private_key, spki


def test_what_it_says_is_what_the_library_reads() -> None:
    der = certificate(private_key())
    ours, theirs = read_certificate(der), x509.load_der_x509_certificate(der)
    assert ours.subject == theirs.subject.rfc4514_string() == "CN=Log key,O=Brackwater Repair Group,C=US"
    assert ours.issuer == theirs.issuer.rfc4514_string()
    assert ours.serial == theirs.serial_number
    assert (ours.not_before, ours.not_after) == (theirs.not_valid_before_utc, theirs.not_valid_after_utc)
    assert (ours.not_before, ours.not_after) == (BEGIN, END)
    assert ours.spki_der == spki(private_key())
    assert ours.signature == theirs.signature
    assert ours.signed == theirs.tbs_certificate_bytes
    assert ours.signature_oid == theirs.signature_algorithm_oid.dotted_string
    assert [one for one, _, _ in ours.extensions] == [one.oid.dotted_string for one in theirs.extensions]
    assert [critical for _, critical, _ in ours.extensions] == [one.critical for one in theirs.extensions]
    assert ours.is_self_issued


ODD_NAMES = (
    'a, b + c "d" <e>; \\f',
    " space at both ends ",
    "#number",
    "Ümlaut und 東京",
    "x=y",
    " ",
    "a\tb",
    "\u202eturned round",
)


@pytest.mark.parametrize("common", ODD_NAMES)
def test_names_as_text(common: str) -> None:
    der = certificate(private_key(), name(common))
    text = read_certificate(der).subject
    assert text.isprintable()
    # RFC 4514 lets what cannot be printed stand as it is or as its bytes; read back it is the same name.
    assert x509.Name.from_rfc4514_string(text) == x509.load_der_x509_certificate(der).subject


def test_names_of_unusual_parts() -> None:
    odd = x509.Name(
        [
            x509.NameAttribute(NameOID.DOMAIN_COMPONENT, "example"),
            x509.NameAttribute(ObjectIdentifier("1.3.6.1.4.1.99999.1"), "own"),
        ]
    )
    subject = read_certificate(certificate(private_key(), odd)).subject
    # RFC 4514 section 2.4: a type without a name of its own has its value in hex of its encoding.
    assert subject == "1.3.6.1.4.1.99999.1=#0c036f776e,DC=example"
    pair = x509.Name(
        [
            x509.RelativeDistinguishedName(
                [x509.NameAttribute(NameOID.COMMON_NAME, "a"), x509.NameAttribute(NameOID.USER_ID, "b")]
            )
        ]
    )
    assert set(read_certificate(certificate(private_key(), pair)).subject.split("+")) == {"CN=a", "UID=b"}


def test_validity_includes_both_ends() -> None:
    read = read_certificate(certificate(private_key()))
    second = timedelta(seconds=1)
    assert [read.covers(at) for at in (BEGIN - second, BEGIN, END, END + second)] == [
        False,
        True,
        True,
        False,
    ]


@pytest.mark.parametrize("year", [1950, 1999, 2049, 2050, 9999])
def test_years_of_either_form(year: int) -> None:
    begin, end = datetime(year, 1, 1, tzinfo=UTC), datetime(year, 6, 1, 2, 3, 4, tzinfo=UTC)
    read = read_certificate(certificate(private_key(), begin=begin, end=end))
    assert (read.not_before, read.not_after) == (begin, end)


@pytest.mark.parametrize("hash_name", sorted(HASHES))
def test_a_chain(hash_name: str) -> None:
    root_key, middle_key, leaf_key = (private_key(number=number) for number in (2, 3, 4))
    root = certificate(root_key, name("Root"), authority=True, hash_name=hash_name)
    middle = certificate(
        middle_key, name("Middle"), issuer=(name("Root"), root_key), authority=True, hash_name=hash_name
    )
    leaf = certificate(leaf_key, name("Leaf"), issuer=(name("Middle"), middle_key), hash_name=hash_name)
    one, two, three = (read_certificate(der) for der in (leaf, middle, root))
    assert is_signed_by(one, two)
    assert is_signed_by(two, three)
    assert is_signed_by(three, three)
    assert not is_signed_by(one, three)
    assert not is_signed_by(two, one)
    assert not is_signed_by(one, one)
    # The right name with another key.
    false_middle = read_certificate(
        certificate(root_key, name("Middle"), issuer=(name("Root"), root_key), authority=True)
    )
    assert not is_signed_by(one, false_middle)


def test_who_may_not_issue_signs_no_certificate() -> None:
    key, leaf_key = private_key(number=2), private_key(number=4)
    leaf = read_certificate(certificate(leaf_key, name("Leaf"), issuer=(name("Middle"), key)))
    assert not is_signed_by(leaf, read_certificate(certificate(key, name("Middle"))))
    assert is_signed_by(leaf, read_certificate(certificate(key, name("Middle"), authority=True)))
    assert is_signed_by(leaf, read_certificate(certificate(key, name("Middle"), authority=True, usage=False)))
    assert not is_signed_by(leaf, read_certificate(certificate(key, name("Middle"), usage=False)))


def test_other_keys_are_read_but_not_taken() -> None:
    elliptic = ec.generate_private_key(ec.SECP256R1())
    read = read_certificate(certificate(elliptic))
    assert read.subject.startswith("CN=Log key")
    with pytest.raises(KeyRefused):
        _ = read.key
    assert not is_signed_by(read, read)


def test_bytes_left_out_added_or_of_an_unknown_version() -> None:
    der = certificate(private_key())
    assert read_certificate(der).extensions
    for wrong in (
        der[:-1],
        der + b"\x00",
        b"",
        der.replace(b"\xa0\x03\x02\x01\x02", b"\xa0\x03\x02\x01\x03"),
    ):
        with pytest.raises(DerError):
            read_certificate(wrong)


@cache
def one_certificate() -> bytes:
    return certificate(private_key())


@given(st.data())
@settings(max_examples=400, deadline=None)
def test_damaged_certificates_never_pass_for_the_whole_one(data: st.DataObject) -> None:
    der = one_certificate()
    place = data.draw(st.integers(min_value=0, max_value=len(der) - 1))
    value = data.draw(st.integers(min_value=0, max_value=255))
    damaged = der[:place] + bytes([value]) + der[place + 1 :]
    if damaged == der:
        return
    try:
        read = read_certificate(damaged)
        assert not is_signed_by(read, read)
    except (DerError, KeyRefused):
        pass


def test_pem_is_not_der() -> None:
    pem = x509.load_der_x509_certificate(certificate(private_key())).public_bytes(Encoding.PEM)
    with pytest.raises(DerError):
        read_certificate(pem)
