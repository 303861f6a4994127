"""The house rules that no linter knows: lengths of files, opening sentences, what rules/ must avoid."""

import ast
import re
import subprocess
import sys
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


FORBIDDEN_CALLS = {"sum", "hash", "open", "eval", "exec", "print", "input", "pow"}
FORBIDDEN_NAMES = {
    "datetime.now", "datetime.utcnow", "datetime.today", "date.today", "time.time", "ZoneInfo",
    "NormalDist", "linear_regression",  "sys.maxsize", "__file__", "math.pow", "operator.pow",
    "hashlib.pbkdf2_hmac", "hashlib.scrypt", "itertools.batched", "math.sumprod", "math.fma",
    "time.tzname", "typing.override", "typing.TypeAliasType", "warnings.deprecated", "copy.replace",
}  # fmt: skip
FORBIDDEN_MODULES = {
    "zoneinfo",
    "statistics",
    "threading",
    "subprocess",
    "socket",
    "sqlite3",
    "ssl",
    "lzma",
    "random",
    "os",
    "pathlib",
    "time",
    "locale",
    "urllib",
    "http",
    "tempfile",
    "secrets",
    "multiprocessing",
    "concurrent",
    "asyncio",
    "signal",
    "pwd",
    "grp",
    "fcntl",
    "resource",
    "readline",
    "ctypes",
    "uuid",
    "shutil",
    "glob",
}
# Later than Python 3.11, by the "What's New" pages of 3.12, 3.13 and 3.14.
FORBIDDEN_IMPORTS = {
    ("itertools", "batched"),
    ("typing", "override"),
    ("typing", "TypeAliasType"),
    ("typing", "ReadOnly"),
    ("typing", "TypeIs"),
    ("collections.abc", "Buffer"),
    ("math", "sumprod"),
    ("math", "fma"),
    ("math", "pow"),
    ("warnings", "deprecated"),
    ("copy", "replace"),
    ("hashlib", "pbkdf2_hmac"),
    ("hashlib", "scrypt"),
    ("datetime", "now"),
    ("sys", "maxsize"),
    ("operator", "pow"),
    ("enum", "StrEnum"),
}
# strftime differs between C libraries: no padding, seconds since 1970, names of the machine's own language.
ODD_FORMATS = re.compile(r"%(-[a-zA-Z]|[sPcxXaAbBpZ])")  # fmt: skip


# Whole numbers only, exact everywhere: a check digit, a count of digits, a power of ten, a signature.
WHOLE = {
    "rules/science/vin.py sum()",
    "rules/quantities.py sum()",
    "rules/quantities.py **",
    "rules/seal/public_keys.py pow()",
}


def _of_whole_numbers(node: ast.BinOp) -> bool:
    return all(isinstance(side, ast.Constant) and type(side.value) is int for side in (node.left, node.right))


def _faults_of(file: Path) -> list[str]:
    return _faults_in(file.read_text(), str(file.relative_to(ROOT)))


def _faults_in(text: str, name: str) -> list[str]:
    found = []
    for node in ast.walk(ast.parse(text)):
        where = f"{name}:{getattr(node, 'lineno', 0)}"
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


SETS = (ast.Set, ast.SetComp)


def _order_of_set(node: ast.AST) -> bool:
    """Is a set walked through, or made a list, without being sorted? Sets that are only asked are free."""
    walked = getattr(node, "iter", None) if isinstance(node, ast.For | ast.comprehension) else None
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("list", "tuple"):
        walked = node.args[0] if node.args else None
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "join":
        walked = node.args[0] if node.args else None
    made = isinstance(walked, ast.Call) and isinstance(walked.func, ast.Name)
    return isinstance(walked, SETS) or (made and walked.func.id in ("set", "frozenset"))  # type: ignore[union-attr]


def _order_lost(node: ast.AST) -> bool:
    """A walk whose result has an order again; what goes back into a set, all() or any() has none."""
    if isinstance(node, ast.ListComp):
        return any(_order_of_set(part) for part in node.generators)
    return isinstance(node, ast.For | ast.Call) and _order_of_set(node)


def _odd_forms(tree: ast.AST) -> list[str]:
    """A form chosen among several stands elsewhere: where strftime is called, each text is looked at."""
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Attribute) and node.attr == "strftime"]
    texts = [node.value for node in ast.walk(tree) if isinstance(node, ast.Constant)]
    return [f"form {text}" for text in texts if calls and isinstance(text, str) and ODD_FORMATS.search(text)]


def _odd_class(node: ast.ClassDef) -> bool:
    bases = {ast.unparse(base).rpartition(".")[2] for base in node.bases}
    return {"str", "Enum"} <= bases or "StrEnum" in bases


def _more_faults_of(tree: ast.AST) -> list[str]:
    found = _odd_forms(tree)
    for node in ast.walk(tree):
        line = getattr(node, "lineno", 0)
        if _order_lost(node):
            found.append(f"{line} order of a set")
        if isinstance(node, ast.ImportFrom):
            found += [f"{line} {a.name}" for a in node.names if (node.module, a.name) in FORBIDDEN_IMPORTS]
        if isinstance(node, ast.ClassDef) and _odd_class(node):
            found.append(f"{line} enumeration mixed with str")
        if type(node).__name__ == "TypeAlias" or getattr(node, "type_params", None):
            found.append(f"{line} later syntax")
    return found


def test_rules_avoid_orders_formats_and_features_that_are_not_everywhere() -> None:
    faults = {
        str(file.relative_to(ROOT)): found
        for file in modules("rules")
        if (found := _more_faults_of(ast.parse(file.read_text(), feature_version=(3, 11))))
    }
    assert faults == {}


PLANTED = (
    "for x in {1, 2}:\n    use(x)", "list(set(rows))", "tuple({x for x in rows})", "', '.join(set(rows))",
    "[x for x in frozenset(rows)]", "from itertools import batched", "from typing import override",
    "class A(str, Enum):\n    B = 'b'", "class A(StrEnum):\n    B = 'b'", "at.strftime('%-d')",
    "at.strftime('%s')", "at.strftime('%b')", "from hashlib import scrypt",
)  # fmt: skip
PLANTED_ELSEWHERE = (
    "hash(x)", "sum(rows)", "pow(x, 2)", "x ** 2", "math.pow(x, 2)", "open(x)", "datetime.now()",
    "date.today()",
    "__file__", "sys.maxsize", "itertools.batched(x, 2)", "hashlib.pbkdf2_hmac(x)", "hashlib.scrypt(x)",
    "ZoneInfo('UTC')", *(f"import {name}" for name in sorted(FORBIDDEN_MODULES)),
)  # fmt: skip


@pytest.mark.parametrize("text", PLANTED)
def test_each_of_these_rules_sees_what_it_is_there_for(text: str) -> None:
    assert _more_faults_of(ast.parse(text)) != []


@pytest.mark.parametrize("text", PLANTED_ELSEWHERE)
def test_each_forbidden_name_is_seen(text: str) -> None:
    assert _faults_in(text, "planted") != []


@pytest.mark.parametrize("text", ["type A = int", "def f[T](x: T) -> T: ...", "class A[T]: ..."])
def test_syntax_later_than_3_11_is_seen(text: str) -> None:
    if sys.version_info >= (3, 12):
        assert _more_faults_of(ast.parse(text)) != []
    else:
        with pytest.raises(SyntaxError):
            ast.parse(text)


@pytest.mark.parametrize(
    "text", ["sorted({1, 2})", "x in {1, 2}", "at.strftime('%Y-%m-%d')", "{x for x in set(y)}"]
)
def test_what_is_the_same_everywhere_passes(text: str) -> None:
    assert _more_faults_of(ast.parse(text)) == []


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
