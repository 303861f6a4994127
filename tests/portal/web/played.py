"""A day of the invented world for page tests: one car gone with its packet granted, one with fresh glass."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final

from django.test import Client

from jobs.demo.world import world_id
from jobs.models import Person, unscoped
from portal.demo.steps import Plan
from portal.demo.windshield import Attempt, WindshieldJob
from tests.portal.web.reading import signed_in
from tests.scenarios.packets import Taken, packet_of
from tests.scenarios.stage import DAY, Stage

# Glass set at 12:55 local: the adhesive is not ready while the pages are looked at.
OPEN_PLAN: Final = Plan(
    number="EM-2026-0418", vin="Z0ASD1F89S2011902", odometer_in=18344, plate="BRK 902", later_min=255
)


@dataclass(frozen=True)
class PlayedDay:
    """``gone`` is released, delivered and sealed; ``waiting`` stands in the shop, held."""

    stage: Stage
    gone: WindshieldJob
    waiting: WindshieldJob
    packet: Taken


def client_of(login: str) -> Client:
    """A browser of that person of the invented world, signed in."""
    with unscoped():
        return signed_in(Person.objects.get(pk=world_id("person", login)))


def until_release(stage: Stage) -> WindshieldJob:
    """The day up to both signatures: release is open."""
    job = WindshieldJob(stage.scene, Plan())
    attempt = Attempt(day=DAY)
    job.until_ready()
    job.prepare(attempt)
    job.aim(attempt)
    job.finish(DAY)
    job.sign(DAY, "11:12", "itolvaar", "technician")
    job.sign(DAY, "11:25", "dpell", "quality_reviewer")
    job.assessment()
    return job


def grant(job: WindshieldJob, packet: Taken, to: str = "jquell", days: float = 30) -> str:
    """Grants the packet to a person outside; returns the grant's id."""
    tablet = job.scene.tablet("tachterly")
    body: dict[str, Any] = {
        "id": job.id("grant", to),
        "to_person": to,
        "purpose": "insurer_audit",
        "until": (tablet.clock() + timedelta(days=days)).isoformat(),
    }
    tablet.post(f"/api/v1/packets/{packet.id}/grants", body)
    return str(body["id"])


def play_day(stage: Stage) -> PlayedDay:
    """Both cars, one after the other; the clock stands at about 13:27 afterwards."""
    gone = until_release(stage)
    gone.release(DAY, "11:31")
    gone.deliver(DAY, "11:42", 21026)
    gone.assessment()
    packet = packet_of(gone, DAY, "11:50")
    grant(gone, packet)
    waiting = WindshieldJob(stage.scene, OPEN_PLAN)
    waiting.intake()
    waiting.plan_work()
    waiting.set_glass()
    waiting.cure("09:12", minutes=34)
    waiting.assessment()
    return PlayedDay(stage, gone, waiting, packet)
