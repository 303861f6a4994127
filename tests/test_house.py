"""The house rules that no linter knows: lengths of files, opening sentences, what rules/ must avoid."""

import ast
import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("portal", "jobs", "rules")
LONGEST_FILE = 400


def tracked(*endings: str) -> list[Path]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True)
    files = [ROOT / line for line in listed.stdout.splitlines() if line.endswith(endings)]
    return [file for file in files if file.exists()]


def modules(package: str) -> list[Path]:
    return [
        file for file in (ROOT / package).rglob("*.py") if "migrations" not in file.parts and file.read_text()
    ]


def test_no_file_is_longer_than_400_lines() -> None:
    long = {
        str(file.relative_to(ROOT)): count
        for file in tracked(".py", ".js", ".css", ".html")
        if (count := len(file.read_text(encoding="utf-8").splitlines())) > LONGEST_FILE
    }
    assert long == {}


@pytest.mark.parametrize("package", PACKAGES)
def test_each_module_opens_with_one_sentence_on_what_belongs_in_it(package: str) -> None:
    silent = [str(file) for file in modules(package) if not ast.get_docstring(ast.parse(file.read_text()))]
    assert silent == []


@pytest.mark.parametrize("package", PACKAGES)
def test_no_import_hides_inside_a_function_to_break_a_circle(package: str) -> None:
    hidden = [
        f"{file.relative_to(ROOT)}:{node.lineno}"
        for file in modules(package)
        for function in ast.walk(ast.parse(file.read_text()))
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef)
        for node in ast.walk(function)
        if isinstance(node, ast.Import | ast.ImportFrom)
    ]
    assert hidden == []


FORBIDDEN_CALLS = {"sum", "hash", "open", "eval", "exec", "print", "input"}
FORBIDDEN_NAMES = {
    "datetime.now", "datetime.utcnow", "datetime.today", "date.today", "time.time", "ZoneInfo",
    "NormalDist", "linear_regression", "sys.maxsize",
}  # fmt: skip
FORBIDDEN_MODULES = {
    "zoneinfo", "statistics", "threading", "subprocess", "socket", "sqlite3", "ssl", "lzma", "random", "os",
    "pathlib", "time", "locale", "urllib", "http", "tempfile", "secrets",
}  # fmt: skip


# Whole numbers only, exact everywhere: a check digit, a count of digits, a power of ten.
WHOLE = {"rules/science/vin.py sum()", "rules/quantities.py sum()", "rules/quantities.py **"}


def _of_whole_numbers(node: ast.BinOp) -> bool:
    return all(isinstance(side, ast.Constant) and type(side.value) is int for side in (node.left, node.right))


def _faults_of(file: Path) -> list[str]:
    found = []
    for node in ast.walk(ast.parse(file.read_text())):
        where = f"{file.relative_to(ROOT)}:{getattr(node, 'lineno', 0)}"
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in FORBIDDEN_CALLS:
            found.append(f"{where} {node.func.id}()")
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow) and not _of_whole_numbers(node):
            found.append(f"{where} **")
        if isinstance(node, ast.Attribute | ast.Name) and ast.unparse(node) in FORBIDDEN_NAMES:
            found.append(f"{where} {ast.unparse(node)}")
        if isinstance(node, ast.Import):
            found += [f"{where} {a.name}" for a in node.names if a.name.split(".")[0] in FORBIDDEN_MODULES]
        if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in FORBIDDEN_MODULES:
            found.append(f"{where} {node.module}")
    return found


def test_rules_avoid_what_differs_between_pythons_and_homes() -> None:
    # Differences between versions and builds were measured: float sum(), **, and trigonometry's last bit.
    faults = [fault for file in modules("rules") for fault in _faults_of(file)]
    assert [fault for fault in faults if re.sub(r":\d+", "", fault) not in WHOLE] == []


def test_the_guard_sees_what_it_is_there_for(tmp_path: Path) -> None:
    bad = ROOT / "rules" / "zz_probe_of_the_house_test.py"
    try:
        bad.write_text("import random\nx = sum([1.0]) + y**2\nfrom zoneinfo import ZoneInfo\n")
        assert len(_faults_of(bad)) >= 4
    finally:
        bad.unlink(missing_ok=True)


CLOCKS = {"datetime.now", "timezone.now", "date.today"}


def test_only_one_module_reads_the_clock() -> None:
    readers = [
        f"{file.relative_to(ROOT)}:{node.lineno}"
        for package in PACKAGES
        for file in modules(package)
        for node in ast.walk(ast.parse(file.read_text()))
        if isinstance(node, ast.Attribute)
        and ast.unparse(node) in {"datetime.now", "timezone.now", "date.today"}
    ]
    allowed = ("jobs/moment.py", "portal/demo/scene.py")
    assert [place for place in readers if not place.startswith(allowed)] == []
