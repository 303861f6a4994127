"""Distinguished names of certificates as text (RFC 4514), with nothing in it that a screen could act on."""

from typing import Final

from rules.seal.der import OID, SEQUENCE, SET, DerError, Element, Parts, oid_text, parts

# RFC 4514 section 3; anything else stands under its number.
_SHORT: Final = {
    "2.5.4.3": "CN",
    "2.5.4.7": "L",
    "2.5.4.8": "ST",
    "2.5.4.10": "O",
    "2.5.4.11": "OU",
    "2.5.4.6": "C",
    "2.5.4.9": "STREET",
    "0.9.2342.19200300.100.1.25": "DC",
    "0.9.2342.19200300.100.1.1": "UID",
}
# UTF8String, PrintableString, IA5String, BMPString.
_TEXTS: Final = {0x0C: "utf-8", 0x13: "ascii", 0x16: "ascii", 0x1E: "utf-16-be"}
_ESCAPED: Final = '"+,;<>\\'


def name_text(name: Element) -> str:
    """A Name as text, the last part first: ``CN=Log key,O=Brackwater Repair Group,C=US``.

    Raises:
        DerError: not a name.
    """
    if name.tag != SEQUENCE:
        raise DerError("not a name")
    return ",".join(_relative(one) for one in reversed(parts(name)))


def _relative(one: Element) -> str:
    pairs = parts(one)
    if one.tag != SET or not pairs:
        raise DerError("not a part of a name")
    return "+".join(_pair(pair) for pair in pairs)


def _pair(pair: Element) -> str:
    fields = Parts(pair)
    kind, value = oid_text(fields.take(OID)), fields.take()
    fields.end()
    short, text = _SHORT.get(kind), _text(value)
    if short is None or text is None:
        return f"{short or kind}=#{value.whole.hex()}"
    return f"{short}={_escaped(text)}"


def _text(value: Element) -> str | None:
    coding = _TEXTS.get(value.tag)
    if coding is None:
        return None
    try:
        return value.content.decode(coding)
    except UnicodeDecodeError as error:
        raise DerError("a name that is not text") from error


def _escaped(text: str) -> str:
    """RFC 4514 section 2.4; what cannot be printed stands as its bytes."""
    written = []
    for place, character in enumerate(text):
        at_edge = character == " " and place in (0, len(text) - 1)
        if character in _ESCAPED or at_edge or (character == "#" and place == 0):
            written.append("\\" + character)
        elif character.isprintable():
            written.append(character)
        else:
            written.append("".join(f"\\{octet:02x}" for octet in character.encode("utf-8", "surrogatepass")))
    return "".join(written)
