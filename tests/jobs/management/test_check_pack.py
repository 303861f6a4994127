"""check_pack from the command line: what it prints, its JSON, and its exit status; it needs no database."""

import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from tests.jobs.shop import PACKS, Shop, eastmarch
from tests.rules.packs.texts import BASE, changed

METHODS = PACKS / "methods" / "brackwater.yaml"
SEVEN = PACKS / "orrinvale.7.yaml"


def run(*arguments: Any) -> tuple[int, str]:
    out = io.StringIO()
    with pytest.raises(SystemExit) as left:
        call_command("check_pack", *map(str, arguments), stdout=out, stderr=out)
    assert isinstance(left.value.code, int)
    return left.value.code, out.getvalue()


def plain(*arguments: Any) -> dict[str, Any]:
    status, text = run(*arguments, "--json")
    told = json.loads(text)
    assert told["status"] == status
    return dict(told)


@pytest.mark.parametrize("name", ["common-practice.3", "orrinvale.7", "orrinvale.8"])
def test_the_packs_on_file_are_clean(name: str) -> None:
    told = plain(PACKS / f"{name}.yaml", "--methods", METHODS)
    (file,) = told["files"]
    assert told["status"] == 0
    assert [fault for fault in file["faults"] if fault["severity"] == "error"] == []
    assert {example["outcome"] for example in file["examples"]} == {"ok"}
    assert file["beside"] == ([] if name.startswith("common") else ["common-practice 3"])


def test_what_the_methods_leave_is_printed_with_the_place_where_they_do_not_serve() -> None:
    status, text = run(SEVEN, "--methods", METHODS)
    assert status == 0
    assert (
        "OV-FC-STILL sideways 0 mm ± 10 mm: your tape method leaves ±6.8 mm; at Low Mill the rack is not "
        "certified for toe, thrust uncertainty unknown: this proof can never be met there"
    ) in text
    assert f"{SEVEN}:134: OV-FC-STILL sideways" in text
    assert "not looked at; give --org or --methods" in run(SEVEN)[1]


def test_a_fault_has_its_file_and_line_and_what_was_expected_and_found(tmp_path: Path) -> None:
    path = tmp_path / "kestmoor.2.yaml"
    broken = changed('limit: "at most 180 um"', 'limit: "at most 180"')
    path.write_text(broken, encoding="utf-8")
    line = next(n for n, text in enumerate(broken.splitlines(), 1) if 'limit: "at most 180"' in text)
    status, text = run(path)
    assert status == 1
    assert f"{path}:{line}: KM-FR, film: " in text
    assert 'expected: a number and its unit, as in "15 mm"' in text
    assert "found: at most 180" in text


def test_a_failing_example_is_a_fault(tmp_path: Path) -> None:
    text = SEVEN.read_text(encoding="utf-8").replace(
        "{verdict: not_shown, reason: undecided}", "{verdict: met}"
    )
    path = tmp_path / "orrinvale.7.yaml"
    path.write_text(text, encoding="utf-8")
    told = plain(path, PACKS / "common-practice.3.yaml")
    assert told["status"] == 1
    errors = [fault for fault in told["files"][0]["faults"] if fault["severity"] == "error"]
    assert [fault["code"] for fault in errors] == ["example_failed"]
    assert "expected met, found not_shown (undecided)" in errors[0]["message"]


@pytest.mark.parametrize(
    ("content", "status"),
    [(None, 2), (b"\xff\xfe", 2), (b"pack: [", 2), (b"- a\n", 2), (b"pack: a\n", 1), (BASE.encode(), 1)],
)
def test_exit_status(tmp_path: Path, content: bytes | None, status: int) -> None:
    """BASE is silent about operations of its sensor, and its foundation lies nowhere."""
    path = tmp_path / "kestmoor.2.yaml"
    if content is not None:
        path.write_bytes(content)
    assert run(path)[0] == status


def test_the_worst_file_decides(tmp_path: Path) -> None:
    (tmp_path / "bad.yaml").write_bytes(b"pack: [")
    assert run(PACKS / "common-practice.3.yaml", tmp_path / "bad.yaml")[0] == 2


def test_faulty_methods_are_told(tmp_path: Path) -> None:
    path = tmp_path / "methods.yaml"
    path.write_text("group: A\nmethods: [{quantity: toe, u: 1}]\nplaces: []\n", encoding="utf-8")
    with pytest.raises(Exception, match="The methods cannot be used") as told:
        call_command("check_pack", str(SEVEN), "--methods", str(path))
    assert "unknown_word" in str(told.value)


@pytest.fixture
def shop(db: None) -> Shop:
    return eastmarch()


def test_the_group_on_record_brings_its_own_methods(shop: Shop) -> None:
    """Eastmarch has a tire gauge's budget, and no tape."""
    status, text = run(SEVEN, "--org", shop.organisation.name[:8], "--on", "2026-05-05")
    assert status == 0
    assert "there is no method budget for target distance: this proof can never be met" in text
    assert "[capability:OV-FC-STILL/target/distance]" in text


def test_a_group_nobody_knows(shop: Shop) -> None:
    with pytest.raises(CommandError, match='No one group is called "Nowhere"') as told:
        call_command("check_pack", str(SEVEN), "--org", "Nowhere")
    assert told.value.returncode == 2
    assert shop.organisation.name in str(told.value)
