"""The hash chain against three vectors computed with another implementation of SHA-256 and RFC 8785."""

import json

from jobs.ledger.chain import START, link

# Worked values of the log chain: SHA-256 over the previous hash as 32 raw bytes and the canonical entry.
ENTRIES = (
    (
        '{"at":"2026-05-12T14:02:11Z","job":"EM-2026-0417","n":1,"what":"job.opened","who":"itolvaar"}',
        "370d911fb38e989e7e72f6b142d827751abe8e862d1c36be30d5ba355c62d9ff",
    ),
    (
        '{"at":"2026-05-12T14:05:40Z","job":"EM-2026-0417","n":2,"what":"evidence.added","who":"itolvaar"}',
        "ea4d12f77ed93150f2a9c88a1bba74337092b1e26423d063d9fd45f1bc031b7f",
    ),
    (
        '{"at":"2026-05-12T16:31:02Z","job":"EM-2026-0417","n":3,"what":"review.signed","who":"dpell"}',
        "58cd3711c4da7036cccd5ffeb9a039df5b42e22f13bd216f3183a730f67254a6",
    ),
)


def test_the_chain_gives_the_worked_hashes() -> None:
    prev = START
    for text, expected in ENTRIES:
        prev = link(prev, json.loads(text))
        assert prev == expected


def test_order_of_the_keys_does_not_matter_and_every_value_does() -> None:
    first = json.loads(ENTRIES[0][0])
    turned = dict(reversed(first.items()))
    assert link(START, turned) == ENTRIES[0][1]
    for key in first:
        assert link(START, {**first, key: "other"}) != ENTRIES[0][1]
