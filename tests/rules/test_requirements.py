"""What jobs of the invented world need, in both editions, and what keeps an answer open."""

from dataclasses import replace
from datetime import date

import pytest

from rules.examples import run_examples
from rules.facts import JobFacts
from rules.packs.model import PackEdition, PackSet
from rules.packs.reader import read_pack
from rules.requirements import (
    calling_operations,
    calling_sensors,
    determine,
    ordered_before,
    overall_statement,
    procedure_sensors,
    statement_gaps,
)
from rules.result import Requirement
from tests.rules.cast import (
    CORRAN_SENSORS,
    closing,
    corran,
    ended,
    fitted,
    job,
    line,
    operation,
    pack,
    packs,
    scan,
    way,
)
from tests.rules.packs.texts import BASE, changed


def found(facts: JobFacts, editions: tuple[PackEdition, ...] | None = None) -> dict[str, Requirement]:
    return {one.procedure_id: one for one in determine(editions or packs(), facts)}


def states(facts: JobFacts, editions: tuple[PackEdition, ...] | None = None) -> dict[str, str]:
    return {name: one.state for name, one in found(facts, editions).items()}


def statement(facts: JobFacts, editions: tuple[PackEdition, ...] | None = None) -> str:
    chosen = editions or packs()
    return overall_statement(determine(chosen, facts), chosen, facts)


@pytest.mark.parametrize("edition", [7, 8])
def test_examples_of_both_editions(edition: int) -> None:
    results = run_examples(pack("orrinvale", edition), (pack("common-practice", 3),))
    assert [(result.outcome, result.message) for result in results] == [("ok", "")] * 9


def test_examples_of_common_practice() -> None:
    assert [result.outcome for result in run_examples(pack("common-practice", 3))] == ["ok"] * 4


def test_an_example_whose_outcome_changed_fails() -> None:
    text = changed("expect: {required: [KM-FR]}", "expect: {not_required: [KM-FR]}")
    beside = (pack("common-practice", 3),)
    (result,) = run_examples(read_pack(text.encode()), beside)
    assert (result.outcome, result.message) == ("failed", "KM-FR: expected not_required, found required")
    assert [one.outcome for one in run_examples(read_pack(BASE.encode()), beside)] == ["ok"]
    (unknown,) = run_examples(read_pack(changed("[KM-FR]}\n", "[KM-RF]}\n").encode()), beside)
    assert unknown.outcome == "failed"


def test_bumper_off_while_the_scan_is_missing() -> None:
    open_scan = corran("bumper.front.refitted", scans=())
    requirements = found(open_scan)
    radar, camera = requirements["OV-FR-STILL"], requirements["OV-FC-STILL"]
    assert radar.state == "required"
    assert (camera.state, camera.reasons) == ("cannot_tell", ("missing",))
    assert camera.sentence == ("Forward camera: cannot tell yet, because the before-repair scan is missing.")
    assert (camera.pack, camera.edition, camera.sensors) == ("orrinvale", 7, ("forward_camera",))
    with_scan = replace(open_scan, scans=(scan(),))
    assert states(with_scan)["OV-FC-STILL"] == "not_required"
    stand_in = replace(open_scan, scans=(scan("before_calibration", 40),))
    assert states(stand_in)["OV-FC-STILL"] == "not_required"


def test_every_procedure_of_every_covering_pack_is_listed_with_its_reasons() -> None:
    requirements = determine(packs(), corran("bumper.front.refitted"))
    assert [one.procedure_id for one in requirements] == [
        "CP-EVERY",
        "CP-BOND",
        "CP-LOOKUP",
        "OV-FC-STILL",
        "OV-FR-STILL",
        "OV-RC-STILL",
        "OV-SV-STILL",
        "OV-PK",
        "OV-SAS",
    ]
    for one in requirements:
        assert one.because
        assert one.citation
        assert one.sentence.endswith(".")
        assert all(because.parts and because.citation for because in one.because)


def test_a_pack_of_another_make_says_nothing() -> None:
    linnet = job(
        "Kestmoor",
        "Linnet",
        fitted_ways=fitted("rear_camera", "steering_angle_sensor"),
        operations=(operation("tailgate.replaced"),),
        closings=(closing(),),
    )
    assert states(linnet) == {"CP-EVERY": "required", "CP-BOND": "not_required", "CP-LOOKUP": "required"}
    assert found(linnet)["CP-LOOKUP"].sensors == ("rear_camera",)
    assert calling_sensors("CP-LOOKUP", packs(), linnet) == ("rear_camera",)
    assert [one.operation for one in calling_operations("CP-LOOKUP", packs(), linnet)] == [
        "tailgate.replaced"
    ]


@pytest.mark.parametrize(
    ("facts", "reasons"),
    [
        ({"fitted_ways": fitted(*CORRAN_SENSORS, unknown=("front_radar",))}, ("fit_unknown",)),
        ({"operations": (), "closings": ()}, ("operations_open",)),
        (
            {
                "operations": (),
                "closings": (),
                "fitted_ways": fitted(*CORRAN_SENSORS, unknown=("front_radar",)),
            },
            ("fit_unknown", "operations_open"),
        ),
    ],
)
def test_reasons_name_the_unknown_fact(facts: dict[str, object], reasons: tuple[str, ...]) -> None:
    radar = found(corran("bumper.front.refitted", **facts))["OV-FR-STILL"]
    assert radar.state == "cannot_tell"
    assert radar.reasons == reasons


def test_an_unfitted_sensor_settles_the_matter_whatever_else_is_open() -> None:
    facts = corran(closed=False, fitted_ways=fitted("front_radar"), scans=())
    assert states(facts)["OV-FC-STILL"] == "not_required"
    assert states(facts)["OV-FR-STILL"] == "cannot_tell"


def test_one_way_only_is_not_established() -> None:
    ways = tuple(one for one in fitted(*CORRAN_SENSORS) if one.sensor != "front_radar")
    facts = corran("bumper.front.refitted", fitted_ways=(*ways, way("front_radar", "no", "sight")))
    assert found(facts)["OV-FR-STILL"].reasons == ("fit_unknown",)


def test_a_model_without_entry_cannot_be_told() -> None:
    hebble = job(
        "Orrinvale",
        "Hebble",
        fitted_ways=fitted("rear_camera"),
        operations=(operation("glass.windshield.replaced"),),
        closings=(closing(),),
        scans=(scan(),),
    )
    assert states(hebble)["OV-T-FC"] == "not_required"
    with_camera = replace(hebble, fitted_ways=fitted("rear_camera", "forward_camera"))
    camera = found(with_camera)["OV-T-FC"]
    assert (camera.state, camera.reasons) == ("cannot_tell", ("pack_no_coverage",))
    unsure = replace(hebble, fitted_ways=fitted("rear_camera", unknown=("forward_camera",)))
    assert found(unsure)["OV-T-FC"].reasons == ("fit_unknown", "pack_no_coverage")
    assert statement(with_camera) == "cannot_tell"


def test_a_planned_operation_requires_before_it_is_done() -> None:
    planned = corran(estimate_lines=(line(1, "glass.windshield.replaced"),))
    assert states(planned)["OV-FC-STILL"] == "required"
    assert states(planned)["CP-BOND"] == "required"
    assert calling_operations("CP-BOND", packs(), planned) == ()


def test_an_operation_found_later_opens_a_requirement_and_a_withdrawn_one_closes_it() -> None:
    before = corran("bumper.front.refitted")
    later = operation("mirror.inside.disturbed", 90)
    added = replace(before, operations=(*before.operations, later))
    assert states(before)["OV-FC-STILL"] == "not_required"
    assert states(added)["OV-FC-STILL"] == "required"
    assert states(added)["CP-BOND"] == "cannot_tell"
    withdrawn = replace(before, operations=(*before.operations, ended(later)))
    assert states(withdrawn)["OV-FC-STILL"] == "not_required"


def test_calling_operations_are_those_that_call() -> None:
    facts = corran(
        "bumper.front.refitted", "glass.windshield.replaced", "hood.replaced", "emblem.front.replaced"
    )

    def names(procedure_id: str) -> list[str]:
        return [one.operation for one in calling_operations(procedure_id, packs(), facts)]

    assert names("OV-FR-STILL") == ["bumper.front.refitted", "emblem.front.replaced"]
    assert names("OV-FC-STILL") == ["glass.windshield.replaced"]
    assert names("CP-BOND") == ["glass.windshield.replaced"]
    assert names("CP-EVERY") == []
    no_radar = replace(facts, fitted_ways=fitted("forward_camera"))
    assert calling_operations("OV-FR-STILL", packs(), no_radar) == ()


def test_sensors_of_procedures_and_their_order() -> None:
    assert procedure_sensors("OV-FC-ROAD", packs()) == ("forward_camera",)
    assert procedure_sensors("OV-SAS", packs()) == ()
    assert procedure_sensors("CP-LOOKUP", packs()) == ()
    assert ordered_before(packs()) == tuple(
        ("OV-SAS", later) for later in ("OV-FC-STILL", "OV-FC-ROAD", "OV-FC-STILL-THEN-ROAD", "OV-FR-STILL")
    )


def test_before_makes_nothing_required() -> None:
    assert states(corran("glass.windshield.replaced"))["OV-SAS"] == "not_required"
    toe = states(corran("alignment.rear_toe_adjusted"))
    assert (toe["OV-SAS"], toe["OV-FC-STILL"], toe["OV-FR-STILL"]) == ("required",) * 3


def test_two_packs_that_call_for_one_procedure_give_one_requirement_with_two_reasons() -> None:
    trigger = packs()[1].triggers[1]
    house = replace(
        packs()[1],
        pack="brackwater",
        house=True,
        procedures=(),
        triggers=(replace(trigger, id="BW-T", calls_for="OV-FR-STILL"),),
    )
    requirements = determine((*packs(), house), corran("bumper.front.refitted"))
    radar = [one for one in requirements if one.procedure_id == "OV-FR-STILL"]
    assert [[because.trigger_id for because in one.because] for one in radar] == [["OV-T-FR", "BW-T"]]
    assert radar[0].pack == "orrinvale"


def test_statement_required() -> None:
    assert statement(corran("bumper.front.refitted")) == "required"


def test_statement_nothing_required_is_a_finding_with_everything_closed() -> None:
    facts = corran("door.left_front.refinished")
    assert statement(facts) == "nothing_required"
    assert statement_gaps(determine(packs(), facts), packs(), facts) == ()
    # Not needed, as the maker says: the cowl in edition 7, the parking sensors behind a refitted cover.
    assert statement(corran("cowl.replaced"), packs(7)) == "nothing_required"
    assert statement(corran("cowl.replaced"), packs(8)) == "required"
    assert statement(corran("glass.quarter.replaced")) == "nothing_required"


@pytest.mark.parametrize(
    "facts",
    [
        {"closings": ()},
        {"estimate_lines": (line(1),)},
        {"scans": ()},
        {"fitted_ways": fitted(*CORRAN_SENSORS, unknown=("forward_camera",))},
        # Named by no trigger, touched by nothing, but not established either.
        {"fitted_ways": fitted(*CORRAN_SENSORS, unknown=("lidar",))},
    ],
)
def test_statement_cannot_tell_while_a_fact_is_open(facts: dict[str, object]) -> None:
    given = corran("door.left_front.refinished", **facts)
    assert statement(given) == "cannot_tell"
    assert statement_gaps(determine(packs(), given), packs(), given)


def test_silence_never_comes_out_as_nothing_required() -> None:
    # A fitted sensor that was touched, in packs without the trigger that sends to the maker's text.
    silent = (
        replace(pack("common-practice", 3), triggers=pack("common-practice", 3).triggers[:2]),
        packs()[1],
    )
    facts = corran("headlamp.left.replaced", fitted_ways=fitted(*CORRAN_SENSORS, "front_corner_radar"))
    assert "required" not in {
        one.state for one in determine(silent, facts) if one.procedure_id not in ("CP-EVERY", "CP-BOND")
    }
    assert statement(facts, silent) == "cannot_tell"
    assert statement(replace(facts, fitted_ways=fitted(*CORRAN_SENSORS)), silent) == "nothing_required"
    # A sensor the maker speaks for, while neither a trigger nor "not needed" names the operation.
    mute = replace(packs()[1], not_needed=packs()[1].not_needed[1:])
    touched = corran("glass.windshield.chip_filled")
    assert statement(touched) == "nothing_required"
    assert statement(touched, (pack("common-practice", 3), mute)) == "cannot_tell"


def test_no_packs_at_all_is_never_nothing_required_on_an_open_list() -> None:
    facts = corran(closed=False)
    assert overall_statement((), (), facts) == "cannot_tell"
    assert overall_statement((), (), corran("bumper.front.refitted")) == "cannot_tell"


@pytest.mark.parametrize(
    ("on", "editions"),
    [
        (date(2025, 12, 31), []),
        (date(2026, 1, 1), [("common-practice", 3)]),
        (date(2026, 2, 28), [("common-practice", 3)]),
        (date(2026, 3, 1), [("common-practice", 3), ("orrinvale", 7)]),
        (date(2026, 6, 14), [("common-practice", 3), ("orrinvale", 7)]),
        (date(2026, 6, 15), [("common-practice", 3), ("orrinvale", 8)]),
        (date(2030, 1, 1), [("common-practice", 3), ("orrinvale", 8)]),
    ],
)
def test_editions_in_force(on: date, editions: list[tuple[str, int]]) -> None:
    on_file = (pack("orrinvale", 8), pack("common-practice", 3), pack("orrinvale", 7))
    in_force = PackSet(editions=on_file).in_force(on)
    assert [(one.pack, one.edition) for one in in_force] == editions


def test_the_edition_of_the_day_decides_about_the_cowl() -> None:
    on_file = PackSet(editions=(pack("orrinvale", 8), pack("common-practice", 3), pack("orrinvale", 7)))
    facts = corran("cowl.replaced")
    assert states(facts, on_file.in_force(date(2026, 6, 14)))["OV-FC-STILL"] == "not_required"
    assert states(facts, on_file.in_force(date(2026, 6, 15)))["OV-FC-STILL"] == "required"
