"""How a file that extends another one is laid upon it."""

from pathlib import Path
from typing import Any

import pytest

from jobs.rehearsal.faults import Faults, ScenarioError
from jobs.rehearsal.fields import plain
from jobs.rehearsal.nodes import load, merge, parse
from jobs.rehearsal.scenario import read_scenario
from tests.jobs.rehearsal.conftest import SMALL


def merged(base: str, over: str) -> tuple[Any, list[str]]:
    faults = Faults()
    tree = merge(parse(base.encode(), "base"), parse(over.encode(), "over"), faults)
    return plain(tree, faults, ""), [fault.code for fault in faults.found]


@pytest.mark.parametrize(
    ("base", "over", "result"),
    [
        ("a: 1\nb: 2\n", "b: 3\n", {"a": 1, "b": 3}),
        ("a: {x: 1, y: 2}\n", "a: {y: 3, z: 4}\n", {"a": {"x": 1, "y": 3, "z": 4}}),
        ("a: [1, 2]\n", "a: [3]\n", {"a": [3]}),
        ("a: {x: 1}\n", "a: word\n", {"a": "word"}),
        ("a: word\n", "a: {x: 1}\n", {"a": {"x": 1}}),
        ("a: {x: 1, y: 2}\n", "a: {drop: [x]}\n", {"a": {"y": 2}}),
        ("a: {x: {p: 1, q: 2}}\n", "a: {drop: [x], x: {q: 3}}\n", {"a": {"x": {"q": 3}}}),
        ("a: 1\nb: 2\n", "drop: [a]\n", {"b": 2}),
    ],
)
def test_the_rules_of_merging(base: str, over: str, result: dict[str, Any]) -> None:
    assert merged(base, over) == (result, [])


@pytest.mark.parametrize(
    ("base", "over"),
    [
        ("a: {x: 1}\n", "a: {drop: [z]}\n"),
        ("a: 1\n", "b: {drop: [z]}\n"),
        ("a: {x: 1}\n", "a: {drop: [[x]]}\n"),
    ],
)
def test_dropping_what_is_not_there_is_a_fault(base: str, over: str) -> None:
    assert merged(base, over)[1] == ["nothing_to_drop"]


def test_drop_takes_a_list() -> None:
    assert merged("a: {x: 1}\n", "a: {drop: x}\n")[1] == ["wrong_type"]


def test_a_chain_of_files_and_where_each_value_stands(tmp_path: Path) -> None:
    (tmp_path / "first.yaml").write_text("a: 1\nb: 2\nc: {x: 1}\n")
    (tmp_path / "second.yaml").write_text("extends: first.yaml\nb: 3\nc: {y: 2}\n")
    (tmp_path / "third.yaml").write_text("extends: second.yaml\nc: {drop: [x]}\n")
    tree = load(tmp_path / "third.yaml")
    found = {key: plain(node, Faults(), "") for key, node in tree.entries.items()}
    assert found == {"a": 1, "b": 3, "c": {"y": 2}, "extends": "second.yaml"}
    assert (Path(tree.spot_of("a").file).name, tree.spot_of("a").line) == ("first.yaml", 1)
    assert (Path(tree.spot_of("b").file).name, tree.spot_of("b").line) == ("second.yaml", 2)


def test_a_chain_ends(tmp_path: Path) -> None:
    for place in range(6):
        (tmp_path / f"{place}.yaml").write_text(f"extends: {place + 1}.yaml\n")
    with pytest.raises(ScenarioError) as caught:
        load(tmp_path / "0.yaml")
    assert caught.value.faults[0].code == "extends_circle"


def test_a_job_like_another_one(small: Path) -> None:
    text = SMALL.replace(
        "parts:",
        "  van:\n    like: car\n    number: EM-2026-0501\n    drop: [closings]\n"
        "    operations:\n      door: {at: 09:30}\n"
        "  lorry:\n    like: van\n    number: EM-2026-0502\nparts:",
    )
    small.write_text(text)
    jobs = read_scenario(small).jobs
    assert [job.number[-4:] for job in jobs.values()] == ["0500", "0501", "0502"]
    sections = {name: [act.section for act in job.acts] for name, job in jobs.items()}
    assert sections["van"] == sections["lorry"] == ["fitted", "operations", "readings"]
    assert [job.acts[1].at.text for job in jobs.values()] == ["09:40", "09:30", "09:30"]


def test_jobs_like_each_other_are_a_fault(small: Path) -> None:
    small.write_text(SMALL.replace("parts:", "  a: {like: b}\n  b: {like: a}\nparts:"))
    with pytest.raises(ScenarioError) as caught:
        read_scenario(small)
    assert "like" in {fault.code for fault in caught.value.faults}


def test_a_job_like_one_of_the_file_below(small: Path, tmp_path: Path) -> None:
    over = tmp_path / "over.yaml"
    over.write_text(
        "scenario: two\nextends: small.yaml\njobs:\n  van: {like: car, number: X-1, drop: [closings]}\n"
    )
    jobs = read_scenario(over).jobs
    assert [act.section for act in jobs["van"].acts] == ["fitted", "operations", "readings"]
    assert len(jobs["car"].acts) == 4
