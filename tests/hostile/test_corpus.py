"""The whole bad-input corpus through the door that uploads take: stable code, nothing left, bounded cost."""

import json
import resource
import time
from pathlib import Path

import pytest

from jobs.errors import Refused
from jobs.intake import decode
from jobs.intake.codes import ALL
from tests.hostile import documents, json_texts, logs, pictures
from tests.hostile.case import Case

pytestmark = pytest.mark.slow

CORPUS = [*pictures.cases(), *documents.cases(), *logs.cases(), *json_texts.cases()]
# Growth of this process during one case: decoding happens in the child, so almost nothing comes back.
MOST_GROWTH_KIB = 120 * 1024
# Largest child: full frames of the largest accepted picture (its address space is bounded at 2 GiB).
MOST_CHILD_KIB = 1200 * 1024


@pytest.mark.parametrize("case", CORPUS, ids=lambda case: f"{case.kind}: {case.name}")
def test_case(case: Case, tmp_path: Path) -> None:
    path = tmp_path / "upload"
    path.write_bytes(case.data())
    size = path.stat().st_size
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    started = time.monotonic()
    if case.code is None:
        _accepted(case, path, size)
    else:
        with pytest.raises(Refused) as refusal:
            decode(case.kind, path, size_bytes=size)
        assert refusal.value.code == case.code
        assert case.code in ALL
        # A refusal is shown and logged: it must not carry control characters along.
        json.dumps(refusal.value.extra)
        assert refusal.value.message.isprintable()
        assert len(refusal.value.message) < 400
    assert time.monotonic() - started < case.within_s
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - own < MOST_GROWTH_KIB
    assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss < MOST_CHILD_KIB
    assert list(tmp_path.iterdir()) == [path]


def _accepted(case: Case, path: Path, size: int) -> None:
    decoded = decode(case.kind, path, size_bytes=size)
    assert set(case.notes) <= set(decoded.notes)
    assert path.stat().st_size == size
    if decoded.working_copy is not None:
        copy = decoded.working_copy.read_bytes()
        assert b"CANARY" not in copy
        assert copy.startswith(b"\xff\xd8\xff")
        assert copy.endswith(b"\xff\xd9")
        decoded.working_copy.unlink()


def test_names_are_unique() -> None:
    names = [(case.kind, case.name) for case in CORPUS]
    assert len(set(names)) == len(names)
