"""how-to-check.txt: what a stranger can do with a bundle, with commands that work as they stand."""

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from asn1crypto import cms

from rules.seal.enclosed import RECIPIENT_NAME, SEALING_NAME, PartError
from rules.seal.pdf_seal import read_seal
from rules.seal.sealing import Sealing, read_sealing

NAME: Final = "how-to-check.txt"
COMMAND: Final = "    "
_RANGE: Final = re.compile(rb"/ByteRange ?\[ ?(\d+) (\d+) (\d+) (\d+) ?\]")

_TOP: Final = """\
How to check packet {serial}

This folder is a bag (BagIt 1.0, RFC 8493). data/packet.pdf is the packet to read; the other files under data/
are what it was made from, and the proof that it stands in the log. Nothing here needs a network, and none of
the checks needs the workshop that made it.

Checking shows that the files are what was sealed, when the log says so, and that the verdicts follow from the
recorded facts by the enclosed rule texts. It does not show that what was recorded is true, nor that the car
is safe.

The checkers in this folder came with the files that they check. Whoever fears that both were changed
together takes check.pyz from elsewhere: from the workshop, from another bundle, or built from the source.
The lines that are set in are commands for a shell, to be given in this folder.


1. All of it, in one go

Needs Python 3.11 or newer. Give it the archive as it came. With --key it compares the signing key with the
fingerprint that you know from elsewhere; with --head SIZE:ROOT the log with a head that was handed outside
before (mailed to managers, or kept from the workshop's feed): whoever holds the key can write a new log, but
not one that agrees with a head somebody else kept.

    python3 -I check.pyz ../{folder}.zip

In a browser: open check.html and drop the archive on it. It checks the same but does not judge again.


2. The files against the bag's lists

    sha256sum --strict -c manifest-sha256.txt
    sha256sum --strict -c tagmanifest-sha256.txt

On a Mac: shasum -a 256 -c instead of sha256sum -c.
"""

_BODY: Final = """

3. The pages and attachments as they were sealed

The log entry in data/sealing.json names the first {size} bytes of the PDF by their SHA-256, and
data/manifest.json by its own. Both lines must print what stands behind them.

    head -c {size} data/packet.pdf | sha256sum    # {body}
    sha256sum < data/manifest.json    # {manifest}
    grep -q '{body}' data/sealing.json && grep -q '{manifest}' data/sealing.json && echo both are in the entry
"""

_COPY: Final = """

3. The pages

data/packet.pdf is a copy that was made for one recipient (data/recipient.json): a line was stamped on its
pages and it was signed anew. Its attachments are those that were sealed.

    sha256sum < data/manifest.json    # {manifest}
    grep -q '{manifest}' data/sealing.json && echo it is in the entry
"""

_HEAD: Final = """

4. The signature over the head of the log

Needs openssl and xxd. The last command must print "Verified OK".

    W=$(mktemp -d)
    sed 's/^{{"certificate":"\\([0-9a-f]*\\)".*/\\1/' data/sealing.json | xxd -r -p > $W/certificate.der
    sed 's/.*"head":\\({{[^}}]*}}\\).*/\\1/' data/sealing.json | tr -d '\\n' > $W/head.json
    sed 's/.*"head_signature":"\\([0-9a-f]*\\)".*/\\1/' data/sealing.json | xxd -r -p > $W/head.sig
    openssl x509 -inform DER -in $W/certificate.der -noout -subject -dates
    openssl x509 -inform DER -in $W/certificate.der -noout -pubkey > $W/key.pem
    openssl dgst -sha256 -verify $W/key.pem -signature $W/head.sig $W/head.json

The fingerprint of the key, to compare with the one that the workshop publishes or gave you in another way:

    openssl pkey -pubin -in $W/key.pem -outform DER | sha256sum    # {key}
{demo}
That the entry is in the log with this head is shown by the list of hashes in "log_proof" (RFC 9162, section
2.1.3.2); check.pyz and check.html reckon it.
"""

_DEMO: Final = """
THE KEY IS FOR DEMONSTRATION: the program made it itself. It proves nothing to a stranger.
"""

_PDF: Final = """

5. The signature of the PDF

The signature (PAdES, CMS in DER) covers every byte of the PDF but the text that it stands in itself: from
byte 0 on {before} bytes, and from byte {second} to the end. The last command must say that the verification
was successful.

    {{ head -c {before} data/packet.pdf; tail -c +{tail} data/packet.pdf; }} > $W/signed
    tail -c +{start} data/packet.pdf | head -c {digits} | xxd -r -p > $W/signature.der
    openssl cms -verify -binary -inform DER -in $W/signature.der -content $W/signed -noverify -out $W/out

-noverify: the certificate is not looked up among those that your machine trusts. Compare it with the one of
the head, which must be the same:

    openssl cms -verify -binary -inform DER -in $W/signature.der -content $W/signed \
      -noverify -signer $W/s.pem -out $W/out
    openssl x509 -in $W/s.pem -noout -pubkey | cmp - $W/key.pem && echo the same key
"""

_STAMP: Final = """

6. The time stamp on the signature

An authority's token (RFC 3161) in the signature of the PDF says when that signature existed. The last command
must print "Verification: OK". The certificates come from the token itself: whether to believe the authority
that the first openssl line names is for you to say.

    tail -c +{value} $W/signature.der | head -c {value_bytes} > $W/value
    tail -c +{token} $W/signature.der | head -c {token_bytes} > $W/token.der
    openssl pkcs7 -inform DER -in $W/token.der -print_certs -out $W/authority.pem
    openssl x509 -in $W/authority.pem -noout -subject -dates
    openssl ts -reply -in $W/token.der -token_in -token_out -text | grep 'Time stamp:'
    openssl ts -verify -data $W/value -in $W/token.der -token_in -CAfile $W/authority.pem -partial_chain
"""

_LATER_STAMP: Final = """

6. The time stamp that came later

data/additions/{name} holds an authority's token (RFC 3161) over the sealed file. The last command must print
"Verification: OK". The certificates come from the token itself: whether to believe the authority that the
first openssl line names is for you to say.

    W=$(mktemp -d)
    sed 's/.*"token":"\\([0-9a-f]*\\)".*/\\1/' data/additions/{name} | xxd -r -p > $W/token.der
    openssl pkcs7 -inform DER -in $W/token.der -print_certs -out $W/authority.pem
    openssl x509 -in $W/authority.pem -noout -subject -dates
    openssl ts -reply -in $W/token.der -token_in -token_out -text | grep 'Time stamp:'
    openssl ts -verify {over} -in $W/token.der -token_in -CAfile $W/authority.pem -partial_chain
"""

_UNSIGNED: Final = """

4. Signatures

There are none: no key was set up when this packet was sealed. The hashes fit one another, but whoever made
these files could have made them all.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class HowTo:
    """What the text is about; ``parts`` are the PDF's attachments, ``additions`` bytes by name."""

    folder: str
    serial: str
    pdf: bytes
    parts: Mapping[str, bytes]
    additions: Mapping[str, bytes] = field(default_factory=dict)


def how_to_text(about: HowTo) -> bytes:
    """The text; commands stand on lines that begin with four blanks."""
    told = _TOP.format(serial=about.serial, folder=about.folder)
    sealing = _sealing(about.parts)
    if sealing is not None:
        told += _sealed(about, sealing)
    return told.encode()


def commands(text: str) -> str:
    """The commands of such a text as one script for ``sh``."""
    lines = [line.removeprefix(COMMAND) for line in text.splitlines() if line.startswith(COMMAND)]
    return "set -e\n" + "\n".join(lines) + "\n"


def _sealing(parts: Mapping[str, bytes]) -> Sealing | None:
    try:
        return read_sealing(parts[SEALING_NAME]) if SEALING_NAME in parts else None
    except PartError:
        return None


def _sealed(about: HowTo, sealing: Sealing) -> str:
    detail = {
        "manifest": sealing.detail.get("manifest_sha256"),
        "body": sealing.detail.get("body_sha256"),
        "size": sealing.detail.get("body_bytes"),
    }
    told = (_COPY if RECIPIENT_NAME in about.parts else _BODY).format(**detail)
    if not sealing.sealed.is_signed:
        return told + _UNSIGNED
    told += _HEAD.format(key=sealing.sealed.key_sha256, demo=_DEMO if sealing.is_demo else "")
    return told + _signature(about.pdf) + _later_stamp(about)


def _signature(pdf: bytes) -> str:
    """How to take the signature out of this PDF; nothing where it has none that holds."""
    found = read_seal(pdf)
    ranges = _RANGE.findall(pdf)
    if not found.holds or not ranges:
        return ""
    before, second = int(ranges[-1][1]), int(ranges[-1][2])
    # The text stands between < and >, which are not signed either.
    start, end = before + 1, second - 1
    told = _PDF.format(before=before, second=second, tail=second + 1, start=start + 1, digits=end - start)
    return told + _stamp(bytes.fromhex(pdf[start:end].decode("ascii")))


def _stamp(signature: bytes) -> str:
    """How to take the time stamp out of a signature (CMS, DER, zeros behind it); nothing without one."""
    signer = cms.ContentInfo.load(signature)["content"]["signer_infos"][0]
    tokens = [
        one["values"][0].dump()
        for one in signer["unsigned_attrs"]
        if one["type"].native == "signature_time_stamp_token"
    ]
    if not tokens:
        return ""
    value = signer["signature"].contents
    return _STAMP.format(
        value=signature.index(value) + 1,
        value_bytes=len(value),
        token=signature.index(tokens[0]) + 1,
        token_bytes=len(tokens[0]),
    )


def _later_stamp(about: HowTo) -> str:
    """How to check a token that an addition carries: it is over the sealed file."""
    for name in sorted(about.additions):
        if not name.endswith(".json"):
            continue
        told = json.loads(about.additions[name])
        if told.get("kind") == "time_stamp":
            is_copy = RECIPIENT_NAME in about.parts
            over = f"-digest {told['sealed']['pdf_sha256']}" if is_copy else "-data data/packet.pdf"
            return _LATER_STAMP.format(name=name, over=over)
    return ""
