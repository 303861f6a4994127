"""Judges stored cases and prints what came out: the ``__main__`` of every home, so it imports rules/ alone.

    python -I -S HOME PACKS CASES

HOME is a folder or archive that holds this file as ``__main__.py`` beside ``rules`` and ``yaml``; PACKS a
folder of pack texts; CASES a file of JSON lines ``{"gate_at", "editions", "facts"}``, the facts as text
in their stored form. Printed as JSON: one SHA-256 per case over the canonical bytes of the whole assessment,
how often each check came to which verdict, and every imported module that neither Python nor this home has.
"""

import json
import sys
from collections import Counter
from datetime import datetime
from pathlib import Path

from rules.assess import assess
from rules.canonical import sha256_hex
from rules.packs.model import PackSet
from rules.packs.reader import read_pack
from rules.reading_back import read_facts
from rules.record_bytes import record_bytes

OURS = ("rules", "yaml", "__main__", "__mp_main__")


def judged_cases(packs: Path, cases: Path) -> dict[str, object]:
    texts = {path.stem: read_pack(path.read_bytes(), name=path.name) for path in sorted(packs.glob("*.yaml"))}
    digests, checks = [], Counter()
    for line in cases.read_text(encoding="utf-8").splitlines():
        case = json.loads(line)
        editions = tuple(texts[name] for name in case["editions"])
        facts = read_facts(case["facts"].encode("utf-8"))
        result = assess(PackSet(editions=editions), facts, as_of=datetime.fromisoformat(case["gate_at"]))
        digests.append(sha256_hex(record_bytes(result)))
        checks.update(f"{item.check} {item.verdict}" for item in result.findings)
    return {"digests": digests, "checks": dict(sorted(checks.items())), "foreign": foreign()}


def foreign() -> list[str]:
    names = {name.split(".")[0] for name in sys.modules}
    return sorted(names - set(sys.stdlib_module_names) - set(sys.builtin_module_names) - set(OURS))


if __name__ == "__main__":
    found = judged_cases(Path(sys.argv[1]), Path(sys.argv[2]))
    sys.stdout.write(json.dumps({"python": sys.version.split()[0], **found}))
