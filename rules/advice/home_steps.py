"""The steps behind the answer whether a car can go home today, each with its time and its source."""

from datetime import datetime

from rules.advice.home import Drive, HomeQuestion, Step


def steps_of(question: HomeQuestion) -> tuple[Step, ...]:
    """Every step that the answer weighs, with its time and its source."""
    steps = [Step(name="now", at=question.now, words="asked now", source="the server's clock")]
    ready = question.ready
    if ready is not None:
        steps.append(Step(name="adhesive ready", at=ready.at, words=ready.words, source=ready.source))
    steps.append(_entered("bay free", question.bay_free_at, "taken as free now"))
    if question.work_s > 0:
        words = f"{question.work_s / 60:g} min of work before the drive"
        steps.append(Step(name="work in the bay", at=None, words=words, source="entered by hand"))
    steps.append(_entered("aimer here until", question.shift_until, "no end of shift is counted"))
    steps += [_drive_step(question, drive) for drive in question.drives]
    steps += [
        Step(name=item.tag, at=None, words=item.words, source="certificate and interval on file")
        for item in question.instruments
    ]
    return tuple(steps)


def _entered(name: str, at: datetime | None, otherwise: str) -> Step:
    if at is None:
        return Step(name=name, at=None, words=otherwise, source="not entered")
    return Step(name=name, at=at, words=name, source="entered by hand")


def _drive_step(question: HomeQuestion, drive: Drive) -> Step:
    minutes = drive.needed_s * question.ratio / 60.0
    way = "way not entered"
    if question.way_s is not None:
        way = f"2 x {question.way_s / 60:g} min to the road and back"
    sun = "" if drive.sun_above_deg is None else f"; sun at least {drive.sun_above_deg:g} deg high"
    words = (
        f"{drive.title}: {drive.needed_s:g} s must count, times {question.ratio:.2f} is {minutes:.1f} min; "
        f"{way}{sun}"
    )
    return Step(name="drive", at=None, words=words, source=f"{drive.citation}; {question.ratio_source}")
