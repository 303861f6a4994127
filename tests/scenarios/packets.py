"""Packets of played jobs: asked for through the API, taken, read by outside programs."""

import subprocess
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management import call_command

from portal.demo.steps import JobSteps
from rules.explain import readable


@dataclass(frozen=True)
class Taken:
    """A sealed packet as its taker holds it; ``state`` is what the API says of it."""

    id: str
    state: dict[str, Any]
    pdf: bytes


def packet_of(job: JobSteps, day: date, at: str, name: object = 1) -> Taken:
    """Asks for the packet of the job, lets the worker build it, and takes it."""
    tablet = job.scene.at(day, at, "tachterly", "Packet asked for")
    packet = job.id("packet", name)
    tablet.post(f"{job.base}/packets", {"id": packet, "kind": "full"})
    state = job.scene.wait_for(tablet, f"/api/v1/packets/{packet}", ("sealed",))
    return Taken(packet, state, tablet.bytes_of(f"/api/v1/packets/{packet}/content"))


# Head and foot of a page, in points: they stand between the halves of a sentence that two pages share.
_HEAD, _FOOT = 45, 45


def body_of(pdf: bytes, folder: Path) -> str:
    """The text between head and foot of every page, one page after the other (A4)."""
    box = ("-x", "0", "-y", str(_HEAD), "-W", "595", "-H", str(842 - _HEAD - _FOOT))
    return text_of(pdf, folder, *box)


def text_of(pdf: bytes, folder: Path, *options: str) -> str:
    """The text layer by poppler's pdftotext, white space joined."""
    path = folder / "packet.pdf"
    path.write_bytes(pdf)
    made = subprocess.run(["pdftotext", *options, str(path), "-"], capture_output=True, check=True)
    return joined(made.stdout.decode("utf-8"))


def joined(text: str) -> str:
    """Every run of white space as one space."""
    return " ".join(text.split())


def told_in(finding: Mapping[str, Any]) -> tuple[str, ...]:
    """The parts of a finding's explanation as a packet prints them."""
    outcome = finding["outcome"]
    parts = (outcome["required"], outcome["shows"], outcome["why"], outcome["change"])
    return tuple(readable(part) for part in parts if part)


def unbroken(text: str) -> str:
    """Without white space and hyphens: pdftotext takes a hyphen at the end of a line for a divided word."""
    return "".join(text.split()).replace("-", "")


def verify(pdf: bytes, folder: Path, capsys: Any) -> tuple[int, str]:
    """Exit status and words of ``manage.py verify_packet``."""
    path = folder / "to-verify.pdf"
    path.write_bytes(pdf)
    status = 0
    try:
        call_command("verify_packet", str(path))
    except SystemExit as ended:
        status = int(ended.code or 0)
    told = capsys.readouterr()
    return status, told.out + told.err
