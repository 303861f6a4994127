"""Which scans of a visit are scans of this vehicle, and which one stands for its state before the repair."""

from rules.facts import JobFacts, Scan, live, once


def normal_vin(text: str) -> str:
    """A VIN for comparing: capitals, without spaces."""
    return "".join(text.split()).upper()


def normal_code(text: str) -> tuple[str, str | None]:
    """A trouble code for comparing: five characters, and the failure type where one is given.

    Case and separators do not count: ``c1a45:54`` and ``C1A4554`` are ("C1A45", "54").
    """
    tidy = "".join(character for character in text.upper() if character.isalnum())
    return tidy[:5], tidy[5:] or None


def is_scan_of_this_car(scan: Scan, facts: JobFacts) -> bool:
    """False where no module shows this vehicle's VIN and at least one shows another."""
    seen = {normal_vin(vin) for _module, vin in scan.vin_per_module if vin.strip()}
    return not seen or normal_vin(facts.vehicle.vin) in seen


@once
def own_scans(facts: JobFacts, stage: str | None = None) -> tuple[Scan, ...]:
    """Live scans of this vehicle, in the order of their ends; of one ``stage`` where it is named."""
    scans = [
        scan
        for scan in live(facts.scans)
        if is_scan_of_this_car(scan, facts) and (stage is None or scan.stage == stage)
    ]
    return tuple(sorted(scans, key=lambda scan: (scan.ended.low, scan.ended.high, scan.id)))


def first_scan(facts: JobFacts) -> tuple[Scan | None, bool]:
    """The scan that shows the state before the repair, and whether it is only a stand-in.

    The last scan of stage before_repair; without one, the first of stage before_calibration stands in.
    """
    before = own_scans(facts, "before_repair")
    if before:
        return before[-1], False
    aiming = own_scans(facts, "before_calibration")
    return (aiming[0], True) if aiming else (None, False)
