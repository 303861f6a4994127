"""verify_packet FILE: a packet or bundle checked by itself, and against storage and record where they are."""

import json
from pathlib import Path
from typing import Any, BinaryIO, Final

from django.core.management.base import BaseCommand, CommandParser
from django.db import DatabaseError

from jobs import storage
from jobs.models import Packet, scope, unscoped
from jobs.packets.verify import verify_file
from jobs.selectors.deletions import deleted_note
from rules.seal.bundle_check import look_into
from rules.seal.enclosed import Enclosed, NotAPacketError
from rules.seal.report import Verification

AGREES: Final = 0
DIFFERS: Final = 1
NOT_A_PACKET: Final = 2
RESULT_WORDS: Final = {"agrees": "agrees     ", "differs": "DIFFERS    ", "not_checked": "not checked"}


class Command(BaseCommand):
    """Exit status 0: all that was checked agrees; 1: something differs, and is named; 2: no packet file."""

    help = "Checks seal, hashes, tree, log, signatures and verdicts of a packet file or of its bundle."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--json", action="store_true", help="print the result as JSON")
        parser.add_argument(
            "--alone", action="store_true", help="use the file only: neither storage nor the record"
        )
        parser.add_argument("--key", help="SHA-256 of the signing key as you know it, 64 hex digits")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            with options["file"].open("rb") as stream:
                if not stream.read(5).startswith((b"%PDF-", b"PK")):
                    raise NotAPacketError("this is neither a PDF nor a ZIP archive")
                result = self._verify(stream, options["alone"], options["key"])
        except (OSError, NotAPacketError) as error:
            self.stderr.write(f"{options['file']}: {error}")
            raise SystemExit(NOT_A_PACKET) from error
        if options["json"]:
            self.stdout.write(json.dumps(result.to_plain(), indent=2, ensure_ascii=False))
        else:
            self._tell(result)
        raise SystemExit(AGREES if result.agrees else DIFFERS)

    def _verify(self, stream: BinaryIO, alone: bool, key: str | None) -> Verification:
        key = key.replace(":", "").lower() if key else None
        packet = None if alone else self._on_record(stream)
        if packet is None:
            return verify_file(stream, key=key)
        with scope(packet.organisation_id):
            return verify_file(
                stream,
                stored=storage.is_intact,
                expected_pdf_sha256=packet.pdf_sha256,
                key=key,
                deleted=deleted_note,
            )

    def _on_record(self, stream: BinaryIO) -> Packet | None:
        """The sealed packet of this file in the record here; None where this is not its home.

        The file's own hash finds it first. A file that was altered is found by its serial and root.
        """
        found, enclosed = look_into(stream)
        return None if enclosed is None else self._row(found, enclosed)

    def _row(self, found: Verification, enclosed: Enclosed) -> Packet | None:
        try:
            with unscoped():
                sealed = Packet.objects.filter(state="sealed")
                return (
                    sealed.filter(pdf_sha256=found.pdf_sha256).first()
                    or sealed.filter(serial=found.serial, merkle_root=enclosed.root).first()
                    or sealed.filter(
                        serial=found.serial, organisation__name=str(enclosed.value("packet/organisation"))
                    ).first()
                )
        except DatabaseError:
            return None

    def _tell(self, result: Verification) -> None:
        self.stdout.write(f"Packet {result.serial}" + (", its bundle" if result.form == "bundle" else ""))
        self.stdout.write(f"Tree root {' '.join(result.root[i : i + 4] for i in range(0, 64, 4))}")
        for line in result.lines:
            self.stdout.write(f"  {RESULT_WORDS[line.result]} {line.what}: {line.text}")
            for name in line.at_fault:
                self.stdout.write(f"              at fault: {name}")
        self.stdout.write(_conclusion(result))


def _conclusion(result: Verification) -> str:
    """Never more than was checked: without the sealed hash at hand, the printed pages were not compared."""
    if not result.agrees:
        return "This file is not what was sealed, or what it rests on was changed."
    whole = any(line.what == "file" and line.result == "agrees" for line in result.lines)
    if whole:
        return "Nothing has changed since it was sealed. This shows integrity, not that every claim is true."
    return (
        "The enclosed data are whole and give the same verdicts. The printed pages were not compared: compare"
        " the SHA-256 of the sealed file with the one the operator gives, or read the enclosed data. This"
        " shows integrity, not that every claim is true."
    )
