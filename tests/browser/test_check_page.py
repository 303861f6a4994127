"""check.html in a real Chromium, opened from a file: good bundles, changed ones, vectors from outside."""

import json
import random
import zlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from jobs.packets.checker.page import check_html
from rules.canonical import canonical_bytes
from rules.seal.bundle_check import check_bundle
from tests.jobs.packets.packet_case import Store, finished
from tests.jobs.packets.redacted_case import redacted_case, sealed_anew
from tests.jobs.packets.sealed_case import (
    HANDED_OUTSIDE,
    Case,
    Sealed,
    TestSigner,
    extract_of,
    sealed,
    signed_pdf,
    signer,
    thief,
)
from tests.jobs.packets.test_deleted_originals import GONE, with_deletion
from tests.jobs.packets.test_redaction_forgeries import FORGERIES, forged_parts
from tests.rules.seal.zip_places import places

pytestmark = pytest.mark.slow
REFERENCE = Path(__file__).parents[1] / "reference"
CHANGED = 30


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Sealed, Path]:
    folder = tmp_path_factory.mktemp("page")
    store = Store(folder)
    done = sealed(Case(source=finished(store), store=store))
    done.bundle(folder / "bundle.zip")
    (folder / "check.html").write_bytes(check_html())
    return done, folder


@pytest.fixture
def opened(browser: Browser, made: tuple[Sealed, Path]) -> Iterator[Page]:
    """The page from file://, without network; any complaint of its policy or of its script is a failure."""
    context = browser.new_context(offline=True)
    page = context.new_page()
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda said: faults.append(said.text) if said.type == "error" else None)
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto((made[1] / "check.html").as_uri())
    yield page
    context.close()
    assert faults == []
    assert [url for url in asked if not url.startswith("file:")] == []


def results(page: Page, file: Path, key: str = "", head: str = "") -> dict[str, str]:
    """Result by line for one file, chosen as a person does."""
    # The same name chosen twice is no change to a browser: what was chosen before is taken away first.
    page.set_input_files("#file", [])
    page.evaluate("() => { delete document.getElementById('result').dataset.outcome; }")
    page.fill("#key", key)
    page.fill("#head", head)
    page.set_input_files("#file", str(file))
    page.wait_for_selector("#result[data-outcome]", timeout=60_000)
    rows = page.locator("#result li")
    return {
        rows.nth(place).locator("strong").inner_text(): str(rows.nth(place).get_attribute("class"))
        for place in range(rows.count())
    }


def test_a_good_bundle_agrees_and_what_is_not_checked_is_said(
    opened: Page, made: tuple[Sealed, Path]
) -> None:
    found = results(opened, made[1] / "bundle.zip")
    assert opened.locator("#result h2").inner_text() == "Nothing that was checked differs."
    assert {what for what, result in found.items() if result == "not_checked"} == {
        "key", "verdicts", "pdf signature", "content", "kept head",
    }  # fmt: skip
    assert {what for what, result in found.items() if result == "agrees"} == {
        "archive", "bag", "tree", "files", "log", "redaction", "entry", "log proof", "head", "earlier head",
        "log extract", "additions",
    }  # fmt: skip
    assert made[0].case.source.serial in opened.locator("#result").inner_text()


def test_the_key_is_compared(opened: Page, made: tuple[Sealed, Path]) -> None:
    file = made[1] / "bundle.zip"
    assert results(opened, file, signer().key_sha256.upper())["key"] == "agrees"
    assert results(opened, file, thief().key_sha256)["key"] == "differs"
    opened.set_input_files("#file", [])
    opened.fill("#key", "not a fingerprint")
    opened.set_input_files("#file", str(file))
    assert opened.locator("#status").inner_text() == "A fingerprint has 64 hex digits."


def test_a_head_that_was_kept_is_compared(opened: Page, made: tuple[Sealed, Path]) -> None:
    done, file = made[0], made[1] / "bundle.zip"
    for size in (HANDED_OUTSIDE, done.n):
        head = done.log.head(size)
        written = f" {size} : {head.root[:32].upper()} {head.root[32:]}"
        assert results(opened, file, head=written)["kept head"] == "agrees"
        assert results(opened, file, head=f"{size}:{'5a' * 32}")["kept head"] == "differs"
        assert "written anew" in opened.locator("#result").inner_text()
    assert results(opened, file, head=f"3:{done.log.head(3).root}")["kept head"] == "not_checked"
    assert f"are of {HANDED_OUTSIDE}, {done.n}, " in opened.locator("#result").inner_text()
    for wrong in ("7", "7:", f"0:{'5a' * 32}", f"x:{'5a' * 32}", f"7:{'5a' * 31}", f"7:{'5g' * 32}"):
        opened.set_input_files("#file", [])
        opened.fill("#head", wrong)
        opened.set_input_files("#file", str(file))
        told = opened.locator("#status").inner_text()
        assert told == "A head is its number of entries, a colon and its root of 64 hex digits.", wrong
        assert opened.locator("#result[data-outcome]").count() == 0
    assert opened.locator("label[for=head]").inner_text().startswith("A head of the log that you kept")


def bundles(done: Sealed) -> Iterator[tuple[str, Sealed]]:
    """Redacted packets true and forged, and bundles without an original, deleted or merely missing."""
    redacted = sealed(redacted_case(done))
    yield "redacted", redacted
    for name in (
        "another value for a withheld one", "a withheld leaf left out", "a verdict withheld",
        "withheld without a word", "told as withheld and there", "of another packet",
    ):  # fmt: skip
        yield name, sealed_anew(redacted, forged_parts(redacted, FORGERIES[name][0]), signer())
    gone = with_deletion(done, GONE)
    yield "deleted", gone
    yield "missing", done.with_changes(deleted=gone.deleted)
    yield "told after the head", with_deletion(done, GONE, covered=False)
    yield "told under another kind", with_deletion(done, GONE, kind="comeback")
    extract = json.loads(extract_of(gone.log, gone.n, replace(gone.case, by=thief())))
    extract["entries"] = [one for one in extract["entries"] if "head.published" not in one["entry"]]
    yield "written on by another key", gone.with_changes(extract=canonical_bytes(extract))


def test_the_page_and_the_archive_say_the_same_of_what_is_not_there(
    opened: Page, made: tuple[Sealed, Path]
) -> None:
    done, folder = made
    for name, one in bundles(done):
        one.bundle(folder / "other.zip")
        with (folder / "other.zip").open("rb") as stream:
            by_archive = {line.what: line for line in check_bundle(stream).lines}
        found = results(opened, folder / "other.zip")
        both = found.keys() & by_archive.keys()
        assert {"files", "redaction", "log extract", "additions"} <= both
        for what in both - {"verdicts", "pdf signature", "content"}:
            assert found[what] == by_archive[what].result, (name, what, by_archive[what].text)
        assert ("origin" in found) == ("origin" in by_archive)
        if name == "deleted":
            told = f"{GONE} is deleted under the retention policy on 5 May 2036; its SHA-256 remains"
            assert told in by_archive["originals"].text
            assert told in opened.locator("#result").inner_text()


def test_thirty_changed_bundles_are_told_with_the_place(opened: Page, made: tuple[Sealed, Path]) -> None:
    data = (made[1] / "bundle.zip").read_bytes()
    dice, wanted = random.Random(417), places(data)
    around = [at for at, place in enumerate(wanted) if not place.startswith("content of ")]
    for number in range(CHANGED):
        # Every third one in the bytes around the contents, which are few.
        at = dice.choice(around) if number % 3 == 0 else dice.randrange(len(data))
        changed = data[:at] + bytes([data[at] ^ dice.randrange(1, 256)]) + data[at + 1 :]
        (made[1] / "changed.zip").write_bytes(changed)
        found = results(opened, made[1] / "changed.zip")
        assert found["archive"] == "differs", (at, wanted[at])
        assert "It differs" in opened.locator("#result h2").inner_text()
        told = opened.locator("#result .place").all_inner_texts()
        place, _, entry = wanted[at].partition(" of ")
        assert any(place in line for line in told) or entry in " ".join(told), (wanted[at], told)


def test_a_seal_by_another_key_and_a_demonstration_key_are_told(
    opened: Page, made: tuple[Sealed, Path]
) -> None:
    done, folder = made
    forged = sealed(Case(source=done.case.source, store=done.case.store, by=thief(), body=done.case.body))
    forged.bundle(folder / "forged.zip")
    assert results(opened, folder / "forged.zip", signer().key_sha256)["key"] == "differs"
    demo = TestSigner("demo", is_demo=True)
    sealed(Case(source=done.case.source, store=done.case.store, by=demo, body=done.case.body)).bundle(
        folder / "demo.zip"
    )
    assert results(opened, folder / "demo.zip")["key"] == "not_checked"
    assert "one for demonstration" in opened.locator("#result h2").inner_text()
    unsigned = sealed(Case(source=done.case.source, store=done.case.store, by=None, body=done.case.body))
    unsigned.bundle(folder / "unsigned.zip")
    assert results(opened, folder / "unsigned.zip")["head"] == "not_checked"
    assert "NOT SIGNED" in opened.locator("#result").inner_text()


def test_consistent_forgeries_are_told_with_the_right_line(opened: Page, made: tuple[Sealed, Path]) -> None:
    done, folder = made
    cases: dict[str, dict[str, Any]] = {
        "log proof": {"log_proof": ["5a" * 32, *done.sealing["log_proof"][1:]]},
        "head": {"head": {**done.sealing["head"], "at": "2026-05-05T17:08:00.000000Z"}},
        "earlier head": {"earlier": {**done.sealing["earlier"], "consistency": []}},
    }
    for what, changes in cases.items():
        done.with_changes(pdf=_with_seal(done, {**done.sealing, **changes})).bundle(folder / "forged.zip")
        assert results(opened, folder / "forged.zip")[what] == "differs", what
    first = done.additions["addition-0001.json"]
    done.with_changes(additions={"addition-0002.json": first}).bundle(folder / "forged.zip")
    assert results(opened, folder / "forged.zip")["additions"] == "differs"


def _with_seal(done: Sealed, sealing: dict[str, Any]) -> bytes:
    return signed_pdf(done.case.built().pdf, sealing, None)


def test_what_is_no_bundle_is_said(opened: Page, made: tuple[Sealed, Path]) -> None:
    folder = made[1]
    (folder / "packet.pdf").write_bytes(made[0].pdf)
    opened.set_input_files("#file", str(folder / "packet.pdf"))
    opened.wait_for_function("document.getElementById('status').textContent.includes('check.pyz')")
    (folder / "empty.zip").write_bytes(b"")
    assert results(opened, folder / "empty.zip")["archive"] == "differs"


# ------------------------------------------------------------------ against vectors from outside


def test_canonical_form_is_that_of_rfc_8785(opened: Page) -> None:
    vectors = json.loads((REFERENCE / "jcs_rfc8785_vectors.json").read_text(encoding="utf-8"))
    for case in vectors["cases"]:
        text = opened.evaluate("text => canonicalText(JSON.parse(text))", case["input_text"])
        assert text.encode().hex() == case["canonical_utf8_hex"], case["name"]
    as_double = (
        "bits => { const v = new DataView(new ArrayBuffer(8)); v.setBigUint64(0, BigInt('0x' + bits)); "
    )
    for bits, wanted in vectors["numbers_ieee754_hex_to_text"]:
        assert opened.evaluate(as_double + "return canonicalText(v.getFloat64(0)); }", bits) == wanted, bits


@pytest.mark.parametrize(
    "value", ["NaN", "Infinity", "-Infinity", r"'\ud800'", r"'\udc00x'", r"({'\ud83d': 1})", "undefined"]
)
def test_what_has_no_canonical_form_is_refused(value: str, opened: Page) -> None:
    script = f"() => {{ try {{ canonicalText({value}); return true; }} catch {{ return false; }} }}"
    assert opened.evaluate(script) is False


@pytest.mark.parametrize(
    "text",
    [r'{"a":1,"a":1}', '{ "a":1}', '{"b":1,"a":1}', '{"a":1.0}', '{"a":9007199254740993}', "[]", "null"],
)
def test_parts_that_are_not_canonical_objects_are_refused(text: str, opened: Page) -> None:
    script = (
        "text => { try { readCanonical(encoder.encode(text), 'it'); return true; } catch { return false; } }"
    )
    assert opened.evaluate(script, '{"a":1}') is True
    assert opened.evaluate(script, text) is False


def test_proofs_of_the_public_reference_tree_hold_and_damaged_ones_do_not(opened: Page) -> None:
    # RFC 9162 section 2.1 over the leaves of the public reference tests; all 36 proofs of each kind.
    vectors = json.loads((REFERENCE / "merkle_rfc6962_vectors.json").read_text(encoding="utf-8"))
    inclusion = """([leaf, index, size, path, root]) =>
        showsInclusion(fromHex(leaf), index, size, path.map((one) => fromHex(one)), fromHex(root))"""
    for one in vectors["inclusion"]:
        given = [one["leaf_hash"], one["leaf_index"], one["tree_size"], one["proof"], one["root"]]
        assert opened.evaluate(inclusion, given) is True, one
        for damaged in _damaged(given, size_at=2, path_at=3):
            assert opened.evaluate(inclusion, damaged) is False, damaged
    consistency = """([root1, size1, size2, path, root2]) =>
        showsConsistency(size1, size2, fromHex(root1), fromHex(root2), path.map((one) => fromHex(one)))"""
    for one in vectors["consistency"]:
        given = [one["root1"], one["size1"], one["size2"], one["proof"], one["root2"]]
        assert opened.evaluate(consistency, given) is True, one
        for damaged in _damaged(given, size_at=2, path_at=3):
            assert opened.evaluate(consistency, damaged) is False, damaged
    empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    assert opened.evaluate(consistency, [empty, 0, 0, [], empty]) is False


def _damaged(given: list[Any], *, size_at: int, path_at: int) -> Iterator[list[Any]]:
    """Another root, a step more, a step less, a step exchanged, a size that the proof does not fit."""
    path = given[path_at]
    other = "5a" * 32
    ways: list[tuple[int, Any]] = [
        (4, other),
        (path_at, [*path, other]),
        (path_at, [other, *path]),
        (size_at, 0),
    ]
    if path:
        ways += [(path_at, path[:-1]), (path_at, [other, *path[1:]])]
    for at, value in ways:
        yield [*given[:at], value, *given[at + 1 :]]


def test_the_root_of_the_reference_leaves_is_the_published_one(opened: Page) -> None:
    vectors = json.loads((REFERENCE / "merkle_rfc6962_vectors.json").read_text(encoding="utf-8"))
    script = """async (leaves) => {
        const hashes = [];
        for (const leaf of leaves) hashes.push(await leafHash(fromHex(leaf)));
        return toHex(await treeRoot(hashes));
    }"""
    for size, root in enumerate(vectors["roots_hex_by_tree_size"]):
        assert opened.evaluate(script, vectors["leaves_hex"][:size]) == root


def test_check_sums_are_those_of_the_standard_library(opened: Page) -> None:
    for data in (b"", b"123456789", bytes(range(256))):
        assert opened.evaluate("hex => crc32(fromHex(hex))", data.hex()) == zlib.crc32(data)
