"""Release and hand-over by the forms of the gate page, at the end of a played day."""

import uuid

import pytest

from jobs.models import Delivery, SignOff, unscoped
from tests.portal.web.played import client_of, until_release
from tests.portal.web.reading import hidden, text_of
from tests.scenarios.stage import DAY, Stage, work_off

pytestmark = [pytest.mark.django_db, pytest.mark.slow]


def test_release_and_hand_over(stage: Stage) -> None:
    job = until_release(stage)
    stage.scene.clock.move_to(DAY, "11:31")
    where, manager = f"/gate/{job.job}", client_of("tachterly")
    page = manager.get(where)
    assert "<title>release, " in page.content.decode()
    assert "They do not certify" in text_of(page)
    form = hidden(page, "/release")
    wrong = manager.post(f"{where}/release", form | {"pin": "000000"})
    assert wrong.status_code == 403
    assert 'sheet open" id="release"' in wrong.content.decode()
    reviewer = client_of("dpell")
    assert "Release: not for your role" in text_of(reviewer.get(where))
    assert reviewer.post(f"{where}/release", form | {"pin": stage.world.pins["dpell"]}).status_code == 403
    with unscoped():
        assert not SignOff.objects.filter(role="release").exists()

    released = manager.post(f"{where}/release", form | {"pin": stage.world.pins["tachterly"]})
    assert released.status_code == 302
    work_off()
    after = manager.get(released.headers["Location"])
    assert "Released. Your signature covers every item recorded so far." in text_of(after)
    assert "Hand over" in text_of(after)

    assert "no photo of the odometer at hand-over yet" in text_of(after)
    tablet = stage.scene.at(DAY, "11:42", "tachterly", "Keys handed over")
    job.photo(tablet, "odometer_out", stage="delivery", text="21026 km")
    after = manager.get(where)
    assert "no photo of the odometer at hand-over yet" not in text_of(after)
    form = hidden(after, "/delivery") | {"odometer": "21026", "unit": "km"}
    handed = manager.post(f"{where}/delivery", form)
    assert handed.status_code == 302
    again = manager.post(f"{where}/delivery", {"id": str(uuid.uuid4()), "odometer": "21026", "unit": "km"})
    assert again.status_code == 409
    work_off()
    with unscoped():
        assert Delivery.objects.count() == 1
    gone = manager.get(where)
    assert "<title>release, " in gone.content.decode()
    assert "The car left" in text_of(gone)
