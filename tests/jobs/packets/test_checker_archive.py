"""check.pyz as a stranger runs it: by itself, in an empty folder, without network, by old and new Pythons."""

import io
import json
import os
import random
import resource
import shutil
import subprocess
import sys
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from jobs.packets.checker.archive import FIRST_LINE, LICENCE, check_pyz
from jobs.packets.source import EnclosedFile
from rules.seal.zip_reading import scan
from tests.jobs.packets.packet_case import Store, finished
from tests.jobs.packets.sealed_case import Case, Sealed, TestSigner, sealed, signer

SHELF = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Sealed, Path]:
    folder = tmp_path_factory.mktemp("alone")
    store = Store(folder)
    done = sealed(Case(source=finished(store), store=store))
    work = folder / "work"
    (work / "empty").mkdir(parents=True)
    done.bundle(work / "bundle.zip")
    (work / "packet.pdf").write_bytes(done.pdf)
    (work / "check.pyz").write_bytes(check_pyz())
    return done, work


def run(work: Path, *given: str, python: str = sys.executable) -> subprocess.CompletedProcess[str]:
    """In an empty folder and, where the system allows it, in an empty network."""
    without_network = [shutil.which("unshare") or "", "-n"] if _may_unshare() else []
    command = [*without_network, python, "-I", "../check.pyz", *given]
    return subprocess.run(
        command, cwd=work / "empty", capture_output=True, text=True, check=False, timeout=120, env={}
    )


def _may_unshare() -> bool:
    program = shutil.which("unshare")
    return (
        program is not None
        and subprocess.run([program, "-n", "true"], check=False, capture_output=True).returncode == 0
    )


def pythons(*minors: int) -> list[str]:
    found = []
    for minor in minors:
        found += [str(path) for path in sorted(SHELF.glob(f"3.{minor}.*/bin/python"))[:1]]
    return found


def test_its_bytes_follow_from_its_sources_and_another_python_gives_the_same(tmp_path: Path) -> None:
    data = check_pyz()
    assert scan(io.BytesIO(data), first=FIRST_LINE).faults == ()
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        names = archive.namelist()
        assert {name.split("/")[0] for name in names} == {"__main__.py", "command.py", "rules", "yaml"}
        assert b"Permission is hereby granted" in archive.read(LICENCE)
        assert not [name for name in names if name.endswith((".pyc", ".so"))]
    for other in pythons(13, 12):
        said = subprocess.run(
            [other, "-c", _SAME, str(Path(__file__).parents[3]), str(tmp_path)],
            input=data,
            capture_output=True,
            check=False,
        )
        assert said.stdout == b"True\n", said.stderr.decode()


# The same archive written once more by another Python from its own files: sorted, dated and stored alike.
_SAME = """
import io, sys, zipfile
sys.path.insert(0, sys.argv[1])
from rules.seal.plain_zip import of_bytes, zip_pieces
data = sys.stdin.buffer.read()
read = zipfile.ZipFile(io.BytesIO(data))
rows = [of_bytes(name, read.read(name)) for name in reversed(read.namelist())]
print(b"".join(zip_pieces(rows, first=data[:data.index(b"PK")])) == data)
"""


@pytest.mark.slow
def test_it_checks_a_bundle_and_a_packet_by_itself(made: tuple[Sealed, Path]) -> None:
    done, work = made
    for file, words in (("../bundle.zip", "Bundle of packet"), ("../packet.pdf", "Packet file of packet")):
        said = run(work, file)
        assert said.returncode == 0, said.stdout + said.stderr
        assert said.stdout.startswith(f"{words} {done.case.source.serial}")
        assert "nothing that was checked differs. Not checked:" in said.stdout
        assert "27 proofs judged again give the same verdicts." in said.stdout
    assert list((work / "empty").iterdir()) == []


@pytest.mark.slow
def test_the_key_is_compared_with_the_one_known_from_elsewhere(made: tuple[Sealed, Path]) -> None:
    _, work = made
    known = signer().key_sha256
    written = ":".join(known[at : at + 2].upper() for at in range(0, 64, 2))
    said = run(work, "../bundle.zip", "--key", written, "--json")
    told = json.loads(said.stdout)
    assert said.returncode == 0
    assert (told["agrees"], told["key_sha256"]) == (True, known)
    assert {line["what"]: line["result"] for line in told["lines"]}["key"] == "agrees"
    assert run(work, "../bundle.zip", "--key", "5a" * 32).returncode == 1
    assert run(work, "../bundle.zip", "--key", "5a").returncode == 2


@pytest.mark.slow
def test_exit_status_tells_what_differs_and_what_cannot_be_read(made: tuple[Sealed, Path]) -> None:
    _, work = made
    data = bytearray((work / "bundle.zip").read_bytes())
    data[len(data) // 2] ^= 1
    (work / "changed.zip").write_bytes(data)
    said = run(work, "../changed.zip")
    assert said.returncode == 1
    assert "IT DIFFERS" in said.stdout
    (work / "cut.pdf").write_bytes(b"%PDF-1.7\n")
    for file in ("../cut.pdf", "../not-there.zip"):
        said = run(work, file)
        assert (said.returncode, said.stdout) == (2, "")
        assert said.stderr.startswith(file)


@pytest.mark.slow
def test_every_python_from_3_11_on_says_the_same_and_older_ones_name_what_is_needed(
    made: tuple[Sealed, Path],
) -> None:
    _, work = made
    here = run(work, "../bundle.zip").stdout
    for python in pythons(12, 13):
        assert run(work, "../bundle.zip", python=python).stdout == here
    for python in pythons(6, 8, 9, 10):
        said = run(work, "../bundle.zip", python=python)
        assert (said.returncode, said.stdout) == (2, "")
        assert said.stderr.count("\n") == 1
        assert "needs Python 3.11 or newer; this is Python 3." in said.stderr
    for python in SHELF.glob("2.7.*/bin/python"):
        said = subprocess.run(
            [str(python), str(work / "check.pyz")], capture_output=True, text=True, check=False, env={}
        )
        assert (said.returncode, said.stdout) == (2, "")
        assert said.stderr == "This checker needs Python 3.11 or newer; this is Python 2.7.\n"


@pytest.mark.slow
def test_a_demonstration_key_is_told_loudly(made: tuple[Sealed, Path]) -> None:
    done, work = made
    case = Case(
        source=done.case.source,
        store=done.case.store,
        by=TestSigner("demo", is_demo=True),
        body=done.case.built(),
    )
    (work / "demo.pdf").write_bytes(sealed(case).pdf)
    said = run(work, "../demo.pdf")
    assert said.returncode == 0
    assert "THE KEY IS FOR DEMONSTRATION" in said.stdout
    assert "but the key is one for DEMONSTRATION" in said.stdout


@pytest.mark.slow
def test_a_hundred_photos_of_real_size_take_less_than_ten_seconds(
    made: tuple[Sealed, Path], tmp_path: Path
) -> None:
    done, work = made
    source = replace(done.case.source, files=(*done.case.source.files, *large_files(done.case.store, 100)))
    sealed(Case(source=source, store=done.case.store)).bundle(work / "big.zip")
    assert (work / "big.zip").stat().st_size > 350_000_000
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    said = run(work, "../big.zip")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    assert said.returncode == 0, said.stdout
    # Time of the processor, so that what else the machine does plays no part.
    took = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    assert took < 10, took


def large_files(store: Store, count: int) -> tuple[EnclosedFile, ...]:
    """Originals of the size that photos of 12 million pixels have; what they show plays no part."""
    dice = random.Random(417)
    found = []
    for number in range(101, 101 + count):
        data = dice.randbytes(3_600_000)
        found.append(
            EnclosedFile(
                evidence_id=f"large-{number}",
                number=number,
                name=f"evidence-{number:04d}.bin",
                media_type="application/octet-stream",
                sha256=store.put(data),
                size_bytes=len(data),
            )
        )
    return tuple(found)
