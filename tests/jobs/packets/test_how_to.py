"""how-to-check.txt followed to the letter: its commands in an unpacked bundle, by sh, without a network.

Outside sources: GNU sha256sum, openssl (CMS and RFC 3161 verification), xxd.
"""

import os
import re
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from jobs.packets.checker.how_to import commands
from jobs.packets.seal import Seal, seal_pdf
from jobs.signing.time_authority import digest_of, time_stamp
from rules.canonical import canonical_bytes, sha256_hex
from tests.jobs.packets.sealed_case import AT, Sealed, instant, signed_pdf, signer, thief
from tests.jobs.signing.authority import Desk, new_desk, served

pytestmark = pytest.mark.slow

FILES = "sha256sum --strict -c manifest-sha256.txt"
TAGS = "sha256sum --strict -c tagmanifest-sha256.txt"
HEAD = "openssl dgst -sha256 -verify $W/key.pem -signature $W/head.sig $W/head.json"
SIGNED = "openssl cms -verify -binary"
SAME_KEY = "openssl x509 -in $W/s.pem -noout -pubkey | cmp"
STAMPED = "openssl ts -verify"


@dataclass(frozen=True)
class Said:
    """What the commands printed, and which of them failed."""

    output: str
    failed: tuple[str, ...]
    expected: tuple[str, ...]

    @property
    def missing(self) -> list[str]:
        """Hashes that a line says it must print, and that were not printed."""
        return [wanted for wanted in self.expected if wanted not in self.output]


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    with served(new_desk(tmp_path_factory.mktemp("authority"))) as opened:
        yield opened


@pytest.fixture(scope="module")
def made(sealed_packet: Sealed) -> Sealed:
    return sealed_packet


def unpacked(made: Sealed, folder: Path) -> Path:
    """The bundle beside its one folder, as whoever unpacks it has them."""
    folder.mkdir(exist_ok=True)
    name = made.case.source.own_serial.replace("/", "-")
    made.bundle(folder / f"{name}.zip")
    with zipfile.ZipFile(folder / f"{name}.zip") as archive:
        archive.extractall(folder)
    return folder / name


def listed(bundle: Path) -> list[str]:
    """The printed commands one by one; what a line continues belongs to it."""
    script = commands((bundle / "how-to-check.txt").read_text(encoding="utf-8"))
    assert script.startswith("set -e\n")
    return script.removeprefix("set -e\n").replace("\\\n", " ").splitlines()


def followed(bundle: Path, *, checker: bool = False) -> Said:
    """Every command in order by sh, in an empty network where the system allows one; PATH is all it gets.

    The one that starts check.pyz only where it is asked for: it reads the archive, not what is unpacked.
    """
    lines = [line for line in listed(bundle) if checker or "check.pyz" not in line]
    script = "\n".join(f"{line}\n[ $? = 0 ] || echo FAILED {number}" for number, line in enumerate(lines))
    said = subprocess.run(
        [*without_network(), "sh"], input=script, cwd=bundle, capture_output=True, text=True, check=False,
        timeout=300, env={"PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}"},
    )  # fmt: skip
    failed = [lines[int(number)] for number in re.findall(r"^FAILED (\d+)$", said.stdout, re.MULTILINE)]
    expected = re.findall(r"# ([0-9a-f]{64})$", "\n".join(lines), re.MULTILINE)
    return Said(output=said.stdout + said.stderr, failed=tuple(failed), expected=tuple(expected))


def without_network() -> list[str]:
    program = shutil.which("unshare")
    if program is None or subprocess.run([program, "-n", "true"], check=False).returncode != 0:
        return []
    return [program, "-n"]


def test_every_printed_command_succeeds_and_prints_what_it_should(made: Sealed, tmp_path: Path) -> None:
    bundle = unpacked(made, tmp_path)
    said = followed(bundle, checker=True)
    assert said.failed == (), said.output
    assert len(said.expected) == 3
    assert said.missing == []
    for words in (
        "nothing that was checked differs", "data/evidence-0001.jpg: OK", "check.pyz: OK",
        "both are in the entry", "Verified OK", "the same key", signer().key_sha256,
        "Brackwater Repair Group, packets", "CMS Verification successful",
    ):  # fmt: skip
        assert words in said.output, words
    # As one script too, which stops at the first failure.
    script = commands((bundle / "how-to-check.txt").read_text(encoding="utf-8"))
    whole = subprocess.run(
        ["sh"], input=script, cwd=bundle, capture_output=True, text=True, check=False, timeout=300,
        env={"PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}"},
    )  # fmt: skip
    assert whole.returncode == 0, whole.stderr


def changed(path: Path, at: int) -> None:
    data = bytearray(path.read_bytes())
    data[at] ^= 1
    path.write_bytes(data)


def test_the_fitting_command_fails_after_one_byte_is_changed(made: Sealed, tmp_path: Path) -> None:
    bundle = unpacked(made, tmp_path)
    for name, at, wanted in (
        ("data/evidence-0002.jpg", 700, (FILES,)),
        ("check.html", 50, (TAGS,)),
        ("data/packet.pdf", 5000, (FILES, SIGNED)),
        ("data/manifest.json", 100, (FILES,)),
    ):
        path = bundle / name
        before = path.read_bytes()
        changed(path, at)
        said = followed(bundle)
        path.write_bytes(before)
        begun = {command for command in wanted if any(line.startswith(command) for line in said.failed)}
        assert begun == set(wanted), (name, said.failed)
        assert {line.split("  ")[0] for line in said.failed if line.startswith("sha256sum")} <= set(wanted)
        # What the log names by its hash prints another one.
        assert len(said.missing) == (1 if name in ("data/packet.pdf", "data/manifest.json") else 0)


def test_the_fitting_command_fails_after_a_signature_is_swapped(made: Sealed, tmp_path: Path) -> None:
    bundle = unpacked(made, tmp_path)
    # The head signed by a key with the same words in its certificate.
    sealing = bundle / "data/sealing.json"
    before = sealing.read_bytes()
    other = thief().sign(made.log.head(made.n).signed_bytes()).hex()
    assert len(other) == len(made.sealing["head_signature"])
    # The last one: the same name stands in the earlier head too.
    text = before.decode()
    sealing.write_text(text.replace(made.sealing["head_signature"], other), encoding="utf-8")
    said = followed(bundle)
    assert HEAD in said.failed
    assert FILES in said.failed
    sealing.write_bytes(before)
    # The PDF signed by that key: the signature holds, but it is not by the key of the head.
    forged = signed_pdf(made.case.built().pdf, made.sealing, thief())
    swapped = unpacked(made.with_changes(pdf=forged), tmp_path / "swapped")
    said = followed(swapped)
    assert any(line.startswith(SAME_KEY) for line in said.failed), said.failed
    assert not any(line.startswith((FILES, TAGS, HEAD, SIGNED)) for line in said.failed)


def stamped(made: Sealed, desk: Desk) -> Sealed:
    """The same packet with an authority's time stamp in its signature."""
    seal = Seal(
        signer=signer(), at=AT + timedelta(minutes=30), organisation="Brackwater", authority=desk.source()
    )
    pdf = seal_pdf(made.case.built().pdf, canonical_bytes(made.sealing), dated=AT, seal=seal)
    return made.with_changes(pdf=pdf)


def test_a_time_stamp_in_the_signature_is_verified_by_openssl(
    made: Sealed, desk: Desk, tmp_path: Path
) -> None:
    bundle = unpacked(stamped(made, desk), tmp_path)
    said = followed(bundle)
    assert said.failed == (), said.output
    assert "Verification: OK" in said.output
    assert "CN=Time stamping of the tests" in said.output.replace(" = ", "=")
    assert "Time stamp: " in said.output
    # The token of another signature: every offset is the same, the time stamp is not of this one.
    text = bundle / "how-to-check.txt"
    before = text.read_text(encoding="utf-8")
    value = re.search(r"tail -c \+(\d+) \$W/signature.der \| head -c 256 > \$W/value", before)
    assert value is not None
    text.write_text(before.replace(value[1], str(int(value[1]) - 1), 1), encoding="utf-8")
    assert any(line.startswith(STAMPED) for line in followed(bundle).failed)


def test_a_time_stamp_that_came_later_is_verified_by_openssl(
    made: Sealed, desk: Desk, tmp_path: Path
) -> None:
    late = with_late_stamp(made, desk)
    bundle = unpacked(late, tmp_path)
    said = followed(bundle)
    assert said.failed == (), said.output
    assert "Verification: OK" in said.output
    changed(bundle / "data/packet.pdf", 5000)
    assert any(line.startswith(STAMPED) for line in followed(bundle).failed)


def with_late_stamp(made: Sealed, desk: Desk) -> Sealed:
    told: dict[str, Any] = {
        "format": "addition 1",
        "packet": made.case.source.serial,
        "number": 1,
        "kind": "time_stamp",
        "at": instant(101),
        "text": "A time-stamping authority confirms that the sealed file existed.",
        "facts": {"token": time_stamp(digest_of(made.pdf), desk.source()).hex()},
        "sealed": {"root": made.case.built().root, "pdf_sha256": sha256_hex(made.pdf)},
        "previous": "",
    }
    return replace(made, additions={"addition-0001.json": canonical_bytes(told)})
