"""Plays one windshield job of the invented world through the HTTP API of a real server with a real worker."""

import shutil
import signal
import time
from argparse import ArgumentParser
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from jobs.demo.world import PASS_PHRASE, load_world
from portal.demo.processes import Processes, free_port
from portal.demo.scene import Scene, SceneClock
from portal.demo.steps import Plan
from portal.demo.telling import tell_assessment
from portal.demo.transport import HttpTransport
from portal.demo.windshield import Attempt, WindshieldJob

# Stands in the shop with fresh glass when the site is left running.
OPEN_CAR = Plan(
    number="EM-2026-0418",
    vin="Z0ASD1F89S2011902",
    odometer_in=18344,
    plate="BRK 902",
    customer_name="P. Larkhill",
    customer_contact="card 91, front desk",
    later_min=255,
)
MARKER = "this folder belongs to make demo and is emptied by it"


class Command(BaseCommand):
    help = "Loads the invented world, plays one windshield job through the API, and leaves the site running."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--once", action="store_true", help="stop afterwards; status 0 only if all is well"
        )
        parser.add_argument("--port", type=int, default=8417)

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.WM_MODE != "demo" or not settings.WM_DEMO_CLOCK_FILE:
            raise CommandError("the demonstration runs in demo mode only: use `make demo`")
        signal.signal(signal.SIGTERM, lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        folder = Path(settings.WM_DEMO_CLOCK_FILE).parent
        self._empty(folder)
        clock = SceneClock(Path(settings.WM_DEMO_CLOCK_FILE), "America/Chicago")
        clock.move_to(Plan().day, "07:30")
        self.tell("Making the record and loading the invented world")
        call_command("migrate", verbosity=0)
        world = load_world(Path(settings.BASE_DIR) / "fixtures", as_of=clock.now())
        port = free_port(options["port"])
        with Processes(Path(settings.BASE_DIR), port, folder) as processes:
            scene = Scene(
                transport=HttpTransport(f"http://127.0.0.1:{port}"),
                clock=clock,
                tokens=world.tokens,
                pins=world.pins,
                tell=self.tell,
                pause=lambda: time.sleep(0.2),
            )
            packet = self._play(scene, folder)
            if not options["once"]:
                self._begin_another(scene)
            self._say_where(port, packet, once=options["once"])
            if not options["once"]:
                self._leave_running(processes)

    def tell(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()

    def _empty(self, folder: Path) -> None:
        marker = folder / ".demo-folder"
        own = folder == Path(settings.BASE_DIR) / ".demo" or marker.exists()
        if not own and folder.exists() and any(folder.iterdir()):
            raise CommandError(f"{folder} holds something that is not a demonstration; it is left alone")
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True, exist_ok=True)
        marker.write_text(MARKER, encoding="ascii")

    def _play(self, scene: Scene, folder: Path) -> Path:
        day = Plan().day
        job = WindshieldJob(scene, Plan())
        attempt = Attempt(day=day)
        job.until_ready()
        job.prepare(attempt)
        self.tell(f"               {self._gate_line(job.assessment())}")
        job.aim(attempt)
        job.finish(day)
        job.sign(day, "11:12", "itolvaar", "technician")
        job.sign(day, "11:25", "dpell", "quality_reviewer")
        self._expect(job.assessment(), "release")
        job.release(day, "11:31")
        job.deliver(day, "11:42", 21026)
        assessment = job.assessment()
        tell_assessment(assessment, self.tell)
        self._expect(assessment, "release")
        packet_id, path = self._packet(job, day, folder)
        self._grant(job, packet_id, day)
        return path

    def _begin_another(self, scene: Scene) -> None:
        """A second car in the middle of its day, for whoever looks at the pages: nobody may drive it yet."""
        self.tell("")
        job = WindshieldJob(scene, OPEN_CAR)
        job.intake()
        job.plan_work()
        job.set_glass()
        job.cure("09:12", minutes=34)
        self.tell(f"               {self._gate_line(job.assessment())}")

    def _gate_line(self, assessment: dict[str, Any]) -> str:
        open_proofs = [f for f in assessment["findings"] if f["outcome"]["verdict"] != "met"]
        return f"Gate: {assessment['disposition']}; {len(open_proofs)} proofs open"

    def _expect(self, assessment: dict[str, Any], disposition: str) -> None:
        if assessment["disposition"] != disposition:
            tell_assessment(assessment, self.tell)
            raise CommandError(f"the gate says {assessment['disposition']}, {disposition} was expected")

    def _packet(self, job: WindshieldJob, day: date, folder: Path) -> tuple[str, Path]:
        tablet = job.scene.at(day, "11:50", "tachterly", "Packet asked for")
        packet_id = job.id("packet", 1)
        tablet.post(f"{job.base}/packets", {"id": packet_id, "kind": "full"})
        state = job.scene.wait_for(tablet, f"/api/v1/packets/{packet_id}", ("sealed",))
        path = folder / f"{state['serial'].replace('/', '-')}.pdf"
        path.write_bytes(tablet.bytes_of(f"/api/v1/packets/{packet_id}/content"))
        self.tell("")
        self.tell(f"Packet {state['serial']} sealed: {path}")
        self._verify(path)
        return packet_id, path

    def _verify(self, path: Path) -> None:
        """Checks the packet as its reader would; the command's own exit status must not end this process."""
        try:
            call_command("verify_packet", str(path), stdout=self.stdout)
        except SystemExit as verified:
            if verified.code:
                raise CommandError(f"the packet does not verify: status {verified.code}") from verified

    def _grant(self, job: WindshieldJob, packet_id: str, day: date) -> None:
        tablet = job.scene.tablet("tachterly")
        tablet.post(
            f"/api/v1/packets/{packet_id}/grants",
            {
                "id": job.id("grant", 1),
                "to_person": "jquell",
                "purpose": "insurer_audit",
                "until": (tablet.clock() + timedelta(days=30)).isoformat(),
            },
        )

    def _say_where(self, port: int, packet: Path, *, once: bool) -> None:
        self.tell("")
        verb = "was" if once else "is"
        self.tell(f"The site {verb} at http://127.0.0.1:{port}/  Pass phrase for everybody: {PASS_PHRASE}")
        for login, who in (
            ("itolvaar", "technician, Eastmarch"),
            ("pvantongeren", "operations manager, all locations"),
            ("tachterly", "location manager, Eastmarch"),
            ("jquell", "insurer's auditor, sees the one packet granted"),
        ):
            self.tell(f"  {login:<14} {who}")
        self.tell(f"The packet can be checked on its own: make verify FILE={packet}")
        if once:
            self.tell("All ends here. `make demo` without ONCE leaves the site running.")

    def _leave_running(self, processes: Processes) -> None:
        self.tell("Running. Ctrl-C ends it.")
        try:
            while True:
                processes.check_alive()
                time.sleep(1)
        except KeyboardInterrupt:
            self.tell("Ended.")
