"""Operation list, fitted systems, and the maker's text as it was looked up."""

from dataclasses import replace

import pytest

from rules.checks.plan import STEPS_FOLLOWED, citation_given, fit_known, operations_closed, step_list_signed
from tests.rules.builders import check_context, ended, loose, moment, statement, with_records
from tests.rules.packs_on_file import packs_on_file, procedure, proof
from tests.rules.windshield_job import unsigned_job

MET = ("met", ())


def judge(check, facts, procedure_id, proof_id, own=None, *, maker=True):
    context = check_context(facts, procedure(procedure_id), proof(procedure_id, proof_id), own)
    if not maker:
        edition = packs_on_file().editions[0]
        context = replace(context, current=replace(context.current, edition=edition))
    outcome = check(context)
    return outcome.verdict, outcome.reasons


def test_the_list_is_closed_or_open():
    facts = unsigned_job()
    open_ = ("not_shown", ("operations_open",))
    unmapped = replace(facts.estimate_lines[0], id="line-2", line_no=2, operations=())
    for changed, expected in [
        (facts, MET),
        (replace(facts, closings=()), open_),
        (replace(facts, closings=(ended(facts.closings[0], "09:00", "withdrawn"),)), open_),
        (with_records(facts, estimate_lines=[unmapped]), open_),
    ]:
        assert judge(operations_closed, changed, "CP-EVERY", "plan") == expected


def test_every_sensor_is_established_in_two_ways():
    facts = unsigned_job()
    assert judge(fit_known, facts, "CP-EVERY", "fit") == MET
    unknown = ("not_shown", ("fit_unknown",))
    assert judge(fit_known, replace(facts, fitted_ways=facts.fitted_ways[1:]), "CP-EVERY", "fit") == unknown
    contrary = replace(facts.fitted_ways[0], state="no")
    changed = replace(facts, fitted_ways=(contrary, *facts.fitted_ways[1:]))
    assert judge(fit_known, changed, "CP-EVERY", "fit") == unknown


# ------------------------------------------------------------------ citation


def cited(*, own=True, **fields):
    facts = unsigned_job()
    facts = replace(facts, lookups=(replace(facts.lookups[0], **fields),))
    session = facts.sessions[0] if own else None
    return judge(citation_given, facts, "OV-FC-ROAD", "text_current", session)


MISSING = ("not_shown", ("citation_missing",))
STALE = ("not_shown", ("evidence_stale",))
CONFLICT = ("not_shown", ("conflict",))


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({}, MET),
        ({"retrieved_at": moment("10:30")}, MET),
        ({"retrieved_at": moment("10:30:01")}, MISSING),  # after the session began
        ({"retrieved_at": moment("2026-04-28 10:30")}, MET),  # seven days before, to the second
        ({"retrieved_at": moment("2026-04-28 10:29:59")}, STALE),
        ({"retrieved_at": loose("10:30", 60.0)}, ("not_shown", ("order_unprovable",))),
        ({"retrieved_at": loose("2026-04-28 10:30", 60.0)}, STALE),
        ({"section": " "}, MISSING),
        ({"retrieved_by": ""}, MISSING),
        ({"retrieved_at": None}, MISSING),
        ({"edition": "2025-11"}, CONFLICT),
        ({"document_number": "OV-SI-2120"}, CONFLICT),
        ({"procedure_id": "OV-FR-STILL"}, MISSING),
    ],
)
def test_the_text_was_looked_up_before_the_session(fields, expected):
    assert cited(**fields) == expected


def test_without_a_session_it_is_judged_at_the_gate_instant():
    assert cited(own=False) == MET
    assert cited(own=False, retrieved_at=moment("2026-04-28 22:59:59")) == STALE
    assert cited(own=False, retrieved_at=moment("2026-04-28 23:00")) == MET


def test_where_no_maker_speaks_a_missing_citation_says_so():
    facts = replace(unsigned_job(), lookups=())
    expected = ("not_shown", ("pack_no_coverage", "citation_missing"))
    assert judge(citation_given, facts, "CP-LOOKUP", "cited", maker=False) == expected
    assert judge(citation_given, facts, "OV-FC-ROAD", "text_current") == MISSING


def test_the_latest_lookup_before_the_session_counts():
    facts = unsigned_job()
    old = replace(facts.lookups[0], id="old", edition="2025-11", retrieved_at=moment("08:00"))
    later = replace(old, id="later", retrieved_at=moment("09:30"))
    own = facts.sessions[0]
    for lookup, expected in [(old, MET), (later, CONFLICT)]:
        changed = with_records(facts, lookups=[lookup])
        assert judge(citation_given, changed, "OV-FC-ROAD", "text_current", own) == expected


# ------------------------------------------------------------------ steps


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({}, MET),
        ({"at": moment("08:40")}, MET),
        ({"at": moment("08:39:59")}, ("not_shown", ("not_signed",))),
        ({"at": loose("08:40", 60.0)}, ("not_shown", ("order_unprovable",))),
        ({"says": ()}, ("not_shown", ("not_signed",))),
        ({"says": (), "denies": (STEPS_FOLLOWED,)}, ("not_met", ("says_otherwise",))),
        ({"procedure_id": None}, ("not_shown", ("not_signed",))),
    ],
)
def test_the_steps_are_signed_after_the_last_operation(fields, expected):
    item = replace(statement("steps", (STEPS_FOLLOWED,), "12:00", procedure_id="CP-LOOKUP"), **fields)
    facts = with_records(unsigned_job(), statements=[item])
    assert judge(step_list_signed, facts, "CP-LOOKUP", "followed") == expected
