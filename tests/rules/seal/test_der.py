"""The strict DER reader: each value has one form, and each other form of it is refused (ITU-T X.690)."""

import pytest

from rules.seal import der
from rules.seal.der import DerError, Parts, read_one


def hexed(text: str) -> bytes:
    return bytes.fromhex(text)


@pytest.mark.parametrize(
    ("encoded", "value"),
    [("020100", 0), ("02017f", 127), ("02020080", 128), ("0201ff", -1), ("020180", -128), ("02020100", 256)],
)
def test_whole_numbers(encoded: str, value: int) -> None:
    assert der.whole_number(read_one(hexed(encoded))) == value


@pytest.mark.parametrize(
    "encoded",
    [
        "0200",  # no contents
        "0202007f",  # padded
        "0202ff80",  # padded, negative
        "02017f00",  # a byte after it
        "0202 01",  # breaks off
        "02",
        "",
        "028101 05".replace(" ", ""),  # long length where the short one is due
        "02820001 05".replace(" ", ""),  # length with a leading zero
        "0280 0000".replace(" ", ""),  # open length
        "02850000000001 05".replace(" ", ""),  # length of five octets
        "1f0101",  # tag of several octets
        "0281",  # a length that breaks off
        "03017f",  # another tag
    ],
)
def test_anything_but_the_one_form_is_refused(encoded: str) -> None:
    with pytest.raises(DerError):
        der.whole_number(read_one(hexed(encoded)))


def test_numbers_and_values_that_are_too_long() -> None:
    long = b"\x01" * (der.MAX_INTEGER_BYTES + 1)
    with pytest.raises(DerError):
        der.whole_number(der.Element(der.INTEGER, long, long))
    with pytest.raises(DerError):
        read_one(b"\x04\x84\x00\xff\xff\xff" + bytes(der.MAX_BYTES))


# X.690 section 8.19.5 and the usual identifiers of RFC 8017 and RFC 5280.
@pytest.mark.parametrize(
    ("encoded", "text"),
    [
        ("0603883703", "2.999.3"),
        ("06092a864886f70d010101", "1.2.840.113549.1.1.1"),
        ("0603550403", "2.5.4.3"),
        ("060100", "0.0"),
        ("06017f", "2.47"),
    ],
)
def test_object_identifiers(encoded: str, text: str) -> None:
    assert der.oid_text(read_one(hexed(encoded))) == text


@pytest.mark.parametrize("encoded", ["0600", "06022a80", "06032a8001", "0603808801"])
def test_object_identifiers_that_break_off_or_are_padded(encoded: str) -> None:
    with pytest.raises(DerError):
        der.oid_text(read_one(hexed(encoded)))


def test_truth_is_all_or_nothing() -> None:
    assert der.truth(read_one(hexed("0101ff")))
    assert not der.truth(read_one(hexed("010100")))
    for encoded in ("010101", "0100", "0102ffff"):
        with pytest.raises(DerError):
            der.truth(read_one(hexed(encoded)))


def test_bit_strings() -> None:
    assert der.whole_octets(read_one(hexed("0303000102"))) == b"\x01\x02"
    assert der.bits(read_one(hexed("03020106"))) == (False,) * 5 + (True, True)
    assert der.bits(read_one(hexed("030100"))) == ()
    for encoded in ("0303010102", "0300"):
        with pytest.raises(DerError):
            der.whole_octets(read_one(hexed(encoded)))
    for encoded in ("0302010f", "03020100", "03020806", "030103", "0300", "03020004"):
        with pytest.raises(DerError):
            # Unused bits set, last bit zero, nine unused bits, unused bits of nothing, no first octet, and a
            # last octet with zeros at its end.
            der.bits(read_one(hexed(encoded)))


def test_parts_are_taken_in_order_and_none_is_left() -> None:
    sequence = read_one(hexed("30060201010201020500")[:8])
    parts = Parts(sequence)
    assert der.whole_number(parts.take()) == 1
    assert parts.take_if(der.NULL) is None
    with pytest.raises(DerError):
        parts.end()
    assert der.whole_number(parts.take(der.INTEGER)) == 2
    parts.end()
    with pytest.raises(DerError):
        parts.take()
    with pytest.raises(DerError):
        der.parts(read_one(hexed("020101")))
    with pytest.raises(DerError):
        # The second element is longer than the sequence.
        Parts(read_one(hexed("30050201010203")))
    with pytest.raises(DerError):
        Parts(read_one(hexed("3100")))
