"""The four-part explanation, the table of triggers and the home box on the pages of a car."""

import pytest
from django.test import Client

from tests.portal.intake import OpenJob
from tests.portal.web.reading import text_of

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("where", ["cars", "gate"])
def test_each_proof_is_told_in_four_parts(where: str, manager: Client, judged: OpenJob) -> None:
    page = manager.get(f"/{where}/{judged.job}")
    words = text_of(page)
    for part in ("Required", "The record shows", "Why not shown", "What would change it"):
        assert part in words, part
    assert "The list of repair operations must be closed, with no estimate line unmapped" in words
    assert "As long as the list can grow, nobody knows what is required." in words
    assert "This can be done from the desk." in words


@pytest.mark.parametrize("where", ["cars", "gate"])
def test_the_home_box_answers_only_when_asked(where: str, manager: Client, judged: OpenJob) -> None:
    words = text_of(manager.get(f"/{where}/{judged.job}"))
    assert "Can this car go home today?" in words
    assert "Cannot be told yet" not in words
    asked = text_of(manager.get(f"/{where}/{judged.job}?home=1&way_minutes=12&shift_until=18:00"))
    assert "Cannot be told yet." in asked
    assert "entered by hand" in asked
    assert "Obey traffic law and weather limits" in asked
    wrong = text_of(manager.get(f"/{where}/{judged.job}?home=1&way_minutes=-5"))
    assert "a number from 0 to 240 min" in wrong


def test_a_stranger_asks_in_vain(elsewhere: Client, judged: OpenJob) -> None:
    for where in ("cars", "gate"):
        assert elsewhere.get(f"/{where}/{judged.job}?home=1&way_minutes=12").status_code == 404
