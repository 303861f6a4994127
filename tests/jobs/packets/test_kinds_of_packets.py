"""What each kind of packet has and has not: the owner's sheet, counsel's log, all eighteen parts."""

from dataclasses import replace

import pytest

from jobs.packets.pages.page import CHAPTERS, packet_page
from jobs.packets.source import ProducedCopy, SignerCard
from rules.facts import SubletTrip
from tests.jobs.packets.packet_case import Store, context_of, finished, open_record
from tests.rules.builders import at, held, moment

OWNERS = "What was done to your car"
COUNSELS = "Production log, and points left to counsel"


@pytest.mark.parametrize("kind", ["full", "insurer", "owner", "counsel"])
def test_all_eighteen_parts_stand_in_every_kind(kind: str, store: Store) -> None:
    html = packet_page(context_of(finished(store, kind=kind))).html
    for anchor, title in CHAPTERS:
        assert f'id="{anchor}"' in html
        assert f'href="#{anchor}"' in html, title
    assert (OWNERS in html) == (kind == "owner")
    assert (COUNSELS in html) == (kind == "counsel")


def test_the_owners_sheet_says_what_is_open_in_plain_words(store: Store) -> None:
    html = packet_page(context_of(open_record(store, kind="owner"))).html
    sheet = html[html.index('id="owners-sheet"') : html.index('id="ch-2"')]
    assert "Something that had to be shown for this repair is not shown." in sheet
    assert "That is no mild form of met." in sheet
    assert "Never test emergency braking or steering" in sheet
    assert "does not certify that the vehicle" in sheet
    assert "Photo set" in sheet


def test_counsel_reads_what_was_given_out_and_to_whom(store: Store) -> None:
    copy = ProducedCopy(
        at=at("12:30"), serial="EM-2026-0417/P1", kind="insurer", whom="Harrowmere Mutual, Joris Quell",
        purpose="audit", sha256="ab" * 32, size_bytes=123456,
    )  # fmt: skip
    html = packet_page(context_of(finished(store, kind="counsel", production=(copy,)))).html
    log = html[html.index('id="production"') :]
    for words in (
        "Harrowmere Mutual, Joris Quell",
        "audit",
        "123456",
        "abab abab",
        "admissibility of packets",
    ):
        assert words in log.replace("Admissibility", "admissibility")
    assert "Nothing was given out." in packet_page(context_of(finished(store, kind="counsel"))).html


def test_sublet_work_tells_the_way_there_and_what_came_back(store: Store) -> None:
    source = finished(store)
    trip = SubletTrip(
        **held("trip-1", "09:00"), procedure_ids=("OV-FC-ROAD",), to_org="Calder Aiming",
        carried_how="driven", out_at=moment("09:00"), back_at=moment("11:00"),
    )  # fmt: skip
    facts = replace(source.facts, sublet_trips=(trip,))
    html = packet_page(context_of(replace(source, facts=facts))).html
    chapter = html[html.index('id="ch-10"') : html.index('id="ch-11"')]
    for words in ("Calder Aiming", "driven on the road", "OV-FC-ROAD", "11 of 11 proofs met", "attempt 1"):
        assert words in chapter
    assert "Nothing was given to another business." in packet_page(context_of(source)).html


def test_the_custodians_form_is_blank_and_filled_with_names_and_hashes_only(store: Store) -> None:
    source = finished(store)
    html = packet_page(context_of(source, root="c0de" * 16)).html
    form = html[html.index('id="ch-17"') : html.index('id="ch-18"')]
    assert form.count('class="blank') >= 12
    for words in (source.serial, source.organisation_name, "c0de c0de", "902(11)", "902(13)", "902(14)"):
        assert words in form
    for person in source.facts.people:
        assert person.name not in form


def test_a_redacted_text_carries_a_mark(store: Store) -> None:
    source = finished(store)
    withheld = "Withheld: what stood here is not part of this copy."
    html = packet_page(context_of(replace(source, order=replace(source.order, payer=withheld)))).html
    assert withheld not in html
    assert '<span class="withheld">withheld</span>' in html


def test_the_pages_say_who_signs_the_file(store: Store) -> None:
    unsigned = packet_page(context_of(finished(store))).html
    assert "THIS PACKET IS NOT SIGNED" in unsigned
    card = SignerCard(name="Brackwater Repair Group", key_sha256="12" * 32, is_demo=True)
    assert "DEMONSTRATION KEY" in packet_page(context_of(finished(store, signer=card))).html
