"""The VIN's check digit, and codes across scans, worked out."""

from jobs.packets.pages import times
from jobs.packets.pages.worked.desk import Paper
from jobs.packets.pages.worked.lines import Table, Worked, made
from rules.checks.codes_compare import compare
from rules.facts import IdentityReading, Scan
from rules.scans import first_scan, own_scans
from rules.science.trouble_codes import classify, shown

# Values of letters and weights of places: 49 CFR 565.15(c).
_VALUES = {
    **{digit: int(digit) for digit in "0123456789"},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
_CLASSES = {
    "resolved": "resolved: there before, gone in the final scan",
    "remaining": "remaining",
    "new": "new",
    "set_while_working": "set while working: in neither the first nor the final scan",
    "history_only": "history only: stored before and after, its count not higher",
}


def check_digit(paper: Paper) -> Worked:
    """The check digit place by place, and every reading beside the VIN typed at intake."""
    vin = paper.facts.vehicle.vin
    readings = [item for item in paper.records if isinstance(item, IdentityReading)]
    table = Table(
        caption="Readings beside the VIN typed at intake",
        head=("Way", "Read", "Against typed"),
        rows=tuple(
            (
                item.way.replace("_", " ") + (f", module {item.module}" if item.module else ""),
                item.vin_read,
                "the same" if item.vin_read == vin else "another",
            )
            for item in readings
        ),
    )
    rules = ("all readings must be equal after taking out spaces and small letters",)
    tables = (table,) if readings else ()
    if len(vin) != 17 or any(letter not in _VALUES for letter in vin):
        return Worked(rules=rules, tables=tables)
    products = [_VALUES[letter] * weight for letter, weight in zip(vin, _WEIGHTS, strict=True)]
    value = sum(products)
    rest = value % 11
    places = Table(
        caption="Check digit, place by place",
        head=("", *(str(place) for place in range(1, 18))),
        rows=(
            ("character", *vin),
            ("value", *(str(_VALUES[letter]) for letter in vin)),
            ("weight", *(str(weight) for weight in _WEIGHTS)),
            ("product", *(str(product) for product in products)),
        ),
        wide="13%",
    )
    sums = (
        made("sum", "Σ value × weight", " + ".join(str(p) for p in products), value, 0),
        made("remainder", "sum − 11 × whole part of sum / 11", f"{value} − 11 × {value // 11}", rest, 0),
    )
    printed = "X" if rest == 10 else str(rest)
    words = f"Place 9 holds {vin[8]}; the remainder is written {printed}."
    return Worked(
        rules=(*rules, "check digit: Σ value × weight, remainder by 11, 10 written X (49 CFR 565.15(c))"),
        tables=(*tables, places),
        sums=sums,
        words=(f"{words} A check digit that fits does not prove the right VIN; it finds typing errors.",),
    )


def codes(paper: Paper) -> Worked:
    """Every code of every scan with what became of it; modules that answered."""
    facts = paper.facts
    first, is_stand_in = first_scan(facts)
    finals = [item for item in paper.records if isinstance(item, Scan) and item.stage == "final"]
    rules = (
        "key of a code: module, code, failure type (SAE J2012 form); counting codes alone would "
        "miss a silent "
        "module, so modules are compared too",
    )
    if first is None or not finals:
        return Worked(rules=rules, tables=(_scan_table(paper),))
    final = max(finals, key=lambda item: (item.ended.low, item.id))
    compared = compare(facts, first, final, is_stand_in=is_stand_in)
    classes = classify(compared.before, compared.between, compared.after)
    rows = tuple(
        (
            key[0],
            shown(key[1], key[2]),
            _state(compared.before.get(key)),
            "yes" if key in compared.between else "no",
            _state(compared.after.get(key)),
            _CLASSES.get(found, found),
        )
        for key, found in classes.items()
    )
    table = Table(
        caption="Codes",
        head=("Module", "Code", "First scan", "Between", "Final scan", "Class"),
        rows=rows or (("no code in any scan", "", "", "", "", ""),),
    )
    return Worked(rules=rules, tables=(_scan_table(paper), table))


def _state(seen: object) -> str:
    state = getattr(seen, "state", None)
    count = getattr(seen, "count", None)
    if state is None:
        return "not there"
    return f"{state}, count {count}" if count is not None else str(state)


def _scan_table(paper: Paper) -> Table:
    rows = []
    for scan in own_scans(paper.facts):
        silent = [module.name for module in scan.modules if not module.answered]
        rows.append(
            (
                scan.stage.replace("_", " "),
                times.bracket(paper.context.place, scan.ended),
                f"{len(scan.modules) - len(silent)} of {len(scan.modules)}",
                ", ".join(silent) or "none",
                str(sum(len(module.codes) for module in scan.modules)),
            )
        )
    return Table(
        caption="Scans of this car in order of time",
        head=("Stage", "Ended", "Answered", "Silent", "Codes"),
        rows=tuple(rows),
    )
