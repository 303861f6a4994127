"""The adhesive's ready time, worked out reading by reading from the climate log."""

from collections.abc import Iterator
from datetime import UTC, datetime

from jobs.packets.pages import times
from jobs.packets.pages.worked.desk import Paper
from jobs.packets.pages.worked.lines import Sum, Table, Worked, fig, made
from rules.checks.curing import PaneCure, pane_cures
from rules.rounding import to_six
from rules.science.adhesive import table_minutes
from rules.science.log_time import bounds_in_log


def ready(paper: Paper) -> Worked:
    """Guarded lowest readings, the cell of the data sheet, and the time that follows."""
    rules = (
        "m(t) = minutes of the data sheet for the lowest temperature and the lowest humidity in "
        "[set, t], each "
        "less 1.645 u (never interpolated towards shorter); ready = earliest t with t ≥ set + m(t)",
        "met: no road movement before ready; it uses only what was recorded",
    )
    found = Worked(rules=rules)
    gate_at = paper.context.assessment.gate_at
    for cure in pane_cures(paper.facts, gate_at, paper.desk.z):
        found = found.plus(Worked(tables=tuple(_tables(paper, cure)), sums=tuple(_sums(paper, cure))))
    return found


def _sums(paper: Paper, cure: PaneCure) -> Iterator[Sum]:
    cautious, log = cure.cautious, cure.log
    if cautious is None or log is None or cautious.lowest_temp is None or cautious.lowest_rh is None:
        return
    z = fig(paper.desk.z)
    for words, lowest, u, guarded, unit in (
        ("lowest temperature, guarded", cautious.lowest_temp, log.u_temp, cautious.guarded_temp, "°C"),
        ("lowest humidity, guarded", cautious.lowest_rh, log.u_rh, cautious.guarded_rh, "%"),
    ):
        if u is not None and guarded is not None:
            yield made(words, "lowest − z u", f"{fig(lowest)} − {z} × {fig(u)}", guarded, 4, unit)


def _tables(paper: Paper, cure: PaneCure) -> Iterator[Table]:
    if cure.log is None or cure.sheet is None or cure.cautious is None:
        return
    rows = tuple(_falls(paper, cure))
    if rows:
        yield Table(
            caption=f"{cure.pane.capitalize()}: each reading after setting that is colder or drier "
            "than all before, "
            f"less {fig(paper.desk.z)} u, and what the data sheet {cure.sheet.document} issue "
            f"{cure.sheet.issue} "
            "then asks for",
            head=("Reading at", "Lowest °C", "less z u", "Lowest %", "less z u", "Minutes", "Not before"),
            rows=rows,
        )
    moment = cure.ready_cautious
    set_text = times.clock_text(paper.context.place, cure.setting.set_at.high, True)
    minutes = "no value" if cure.cautious.minutes is None else f"{cure.cautious.minutes} min"
    at = "no ready time" if moment is None else times.clock_text(paper.context.place, moment.high, True)
    first = cure.movements[0] if cure.movements else None
    moved = "not recorded" if first is None else times.bracket(paper.context.place, first.start)
    yield Table(
        caption="Set + minutes = ready, against the first movement on the road",
        head=("Set, not later than", "Minutes", "Ready", "First road movement"),
        rows=((set_text, minutes, at, moved),),
    )


def _falls(paper: Paper, cure: PaneCure) -> Iterator[tuple[str, ...]]:
    """Readings at which a lowest value falls, from the setting to ready."""
    log, sheet, cautious = cure.log, cure.sheet, cure.cautious
    if log is None or sheet is None or cautious is None:
        return
    begin = bounds_in_log(cure.setting.set_at, log.clock)[0]
    end = cautious.last_s if cautious.last_s is not None else begin
    z = paper.desk.z
    low_temp = low_rh = float("inf")
    for t, temp, rh in log.samples:
        if not begin <= t <= end or (temp >= low_temp and rh >= low_rh):
            continue
        low_temp, low_rh = min(temp, low_temp), min(rh, low_rh)
        cold, dry = to_six(low_temp - z * (log.u_temp or 0)), to_six(low_rh - z * (log.u_rh or 0))
        minutes = table_minutes(sheet.cells, cold, dry)
        later = cure.setting.set_at.high.timestamp() + (minutes or 0) * 60
        yield (
            times.clock_text(paper.context.place, _at(t), True),
            fig(low_temp),
            fig(cold, 4),
            fig(low_rh),
            fig(dry, 4),
            "no value" if minutes is None else str(minutes),
            "never" if minutes is None else times.clock_text(paper.context.place, _at(later), True),
        )


def _at(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds, tz=UTC)


def batches(paper: Paper) -> Worked:
    """Last day of each batch against the local day of setting."""
    rows = []
    for setting in paper.facts.glass_sets:
        if setting.id not in paper.finding.outcome.evidence:
            continue
        day = times.day_text(paper.context.place.local_date(setting.set_at.high))
        for words, batch in (("adhesive", setting.adhesive), ("primer", setting.primer)):
            if batch is not None:
                last = times.day_text(batch.expires_on) if batch.expires_on else "not recorded"
                rows.append((words, batch.product, batch.batch or "not recorded", last, day))
    table = Table(
        caption="Batches against the local day of setting",
        head=("Material", "Product", "Batch", "Last day", "Set on"),
        rows=tuple(rows),
    )
    return Worked(rules=("met: set on or before the last day, local days",), tables=(table,) if rows else ())
