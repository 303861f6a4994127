"""The command of the archive: checks a bundle or a packet file and says line by line what it found.

Imports rules/ alone: it runs from the archive, with nothing beside it and no network.
"""

import argparse
import json
import re
import sys
import textwrap
from collections.abc import Sequence
from typing import Final

from rules.seal.bundle_check import check_file
from rules.seal.enclosed import NotAPacketError
from rules.seal.report import Line, Verification

AGREES: Final = 0
DIFFERS: Final = 1
UNREADABLE: Final = 2
WORDS: Final = {"agrees": "agrees", "differs": "DIFFERS", "not_checked": "not checked"}
WIDTH: Final = 100
LIMITS: Final = (
    "This is about the file: whether it is what was sealed, and whether its verdicts follow from its facts "
    "by its rule texts. It does not say that what was recorded is true, nor that the car is safe."
)
HELP: Final = (
    "Checks a sealed packet (PDF) or its bundle (ZIP) without any network. Exit status 0: nothing that was "
    "checked differs; 1: something differs, and is named; 2: the file cannot be read as a packet."
)


def arguments(given: Sequence[str] | None) -> argparse.Namespace:
    """The command line. A fingerprint may be written with blanks or colons."""
    parser = argparse.ArgumentParser(prog="check.pyz", description=HELP)
    parser.add_argument("file", help="a bundle (.zip) or a packet (.pdf)")
    parser.add_argument(
        "--key", type=_fingerprint, help="SHA-256 of the signing key that you know from elsewhere, in hex"
    )
    parser.add_argument(
        "--later-key",
        type=_fingerprint,
        metavar="KEY",
        help="the same of the key that the workshop signs with since, if it changed its key after this seal",
    )
    parser.add_argument(
        "--head",
        type=_head,
        metavar="SIZE:ROOT",
        help="a head of the log that you kept: its number of entries, a colon, its root in hex",
    )
    parser.add_argument("--json", action="store_true", help="print the result as JSON")
    return parser.parse_args(given)


def _fingerprint(text: str) -> str:
    plain = re.sub(r"[\s:]", "", text).lower()
    if re.fullmatch(r"[0-9a-f]{64}", plain) is None:
        raise argparse.ArgumentTypeError("a fingerprint has 64 hex digits")
    return plain


def _head(text: str) -> tuple[int, str]:
    size, colon, root = text.partition(":")
    plain = re.sub(r"\s", "", root).lower()
    if not colon or re.fullmatch(r"[1-9][0-9]{0,15}", size.strip()) is None:
        raise argparse.ArgumentTypeError("a head is its number of entries, a colon and its root")
    if re.fullmatch(r"[0-9a-f]{64}", plain) is None:
        raise argparse.ArgumentTypeError("a root has 64 hex digits")
    return int(size), plain


def main(given: Sequence[str] | None = None) -> int:
    """Runs the command; returns the exit status."""
    asked = arguments(given)
    try:
        with open(asked.file, "rb") as stream:
            found = check_file(stream, key=asked.key, head=asked.head, later_key=asked.later_key)
    except (OSError, NotAPacketError) as error:
        sys.stderr.write(f"{asked.file}: {error}\n")
        return UNREADABLE
    if asked.json:
        sys.stdout.write(json.dumps(found.to_plain(), indent=2) + "\n")
    else:
        sys.stdout.write(told(found))
    return AGREES if found.agrees else DIFFERS


def told(found: Verification) -> str:
    """The whole result as text."""
    kind = "Bundle" if found.form == "bundle" else "Packet file"
    lines = [
        f"{kind} of packet {_shown(found.serial) or '(no serial)'}",
        f"Tree root {_shown(found.root)}",
        "",
    ]
    for line in found.lines:
        lines += _line(line)
    lines += ["", *textwrap.wrap(f"Result: {verdict(found)}", WIDTH), "", *textwrap.wrap(LIMITS, WIDTH)]
    return "\n".join(lines) + "\n"


def verdict(found: Verification) -> str:
    """The result in a sentence, with what was left open."""
    if not found.agrees:
        return "IT DIFFERS. Do not rely on this file; the lines marked DIFFERS name what was changed."
    left = [line.what for line in found.lines if line.result == "not_checked"]
    open_points = f" Not checked: {', '.join(left)}." if left else ""
    if found.is_demo:
        return f"nothing that was checked differs, but the key is one for DEMONSTRATION.{open_points}"
    return f"nothing that was checked differs.{open_points}"


def _line(line: Line) -> list[str]:
    head = f"{WORDS[line.result]:<12} {line.what:<14} "
    rows = textwrap.wrap(
        _shown(line.text),
        WIDTH,
        initial_indent=head,
        subsequent_indent=" " * len(head),
        break_long_words=False,
    )
    return rows + [f"{' ' * len(head)}at: {_shown(place)}" for place in line.at_fault]


def _shown(text: str) -> str:
    """Text from the file with nothing in it that a terminal would act on."""
    return "".join(one if one.isprintable() else f"\\x{ord(one):02x}" for one in text)


if __name__ == "__main__":
    sys.exit(main())
