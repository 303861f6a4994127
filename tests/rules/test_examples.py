"""Examples about one proof: values already computed, counted drives, and what its author is told."""

import pytest

from rules.checks.solved import NotDecidableError, decide_solved
from rules.conformity import decide_limit
from rules.examples import ExampleResult, run_examples
from rules.packs.errors import PackError
from rules.packs.model import PackEdition
from rules.packs.reader import read_pack
from rules.quantities import Limit, parse_quantity
from tests.rules.cast import pack
from tests.rules.packs.guide import FOLDER
from tests.rules.packs_on_file import proof

SEVEN = (FOLDER / "orrinvale.7.yaml").read_text(encoding="utf-8")
BESIDE = (pack("common-practice", 3),)
HEAD = SEVEN[: SEVEN.index("examples:\n")]


def edition(given: str, expect: str) -> PackEdition:
    return read_pack(f'{HEAD}examples:\n  - name: "one"\n    given: {given}\n    expect: {expect}\n'.encode())


def run(given: str, expect: str) -> ExampleResult:
    (result,) = run_examples(edition(given, expect), BESIDE)
    return result


def about(proof_id: str, rest: str, procedure: str = "OV-FC-STILL") -> str:
    return f"{{procedure: {procedure}, proof: {proof_id}, {rest}}}"


@pytest.mark.parametrize(
    ("given", "expect", "outcome"),
    [
        # supply voltage, u 0.015 V, guard 0.024675 V: met from 12.024675 V
        (about("volts", 'solved: {value: "12.024675 V", u_value: "0.015 V"}'), "{verdict: met}", "ok"),
        (about("volts", 'solved: {value: "12.024674 V", u_value: "0.015 V"}'), "{verdict: met}", "failed"),
        (about("volts", 'solved: {limit: "12.0 V", u_limit: "0.015 V"}'), "{verdict: not_shown, reason: undecided}", "ok"),  # noqa: E501
        (about("volts", 'solved: {value: "11.9 V", u_value: "0.015 V"}'), "{verdict: not_met, reason: outside_limit}", "ok"),  # noqa: E501
        (about("volts", 'solved: {value: "13 V"}'), "{verdict: not_shown, reason: uncertainty_unknown}", "ok"),  # noqa: E501
        (about("volts", 'solved: {value: "13 V"}'), "{verdict: met}", "failed"),
        (about("volts", 'solved: {value: "13 V", u_value: "1 V"}'), "{verdict: not_shown, reason: instrument_not_capable}", "ok"),  # noqa: E501
        # placard
        (about("tyres", 'solved: {each: "241 kPa", u_each: "1.4434 kPa", across_axle: "1 kPa", u_across_axle: "2 kPa", placard: "240 kPa"}'),  # noqa: E501
         "{verdict: met}", "ok"),
        (about("tyres", 'solved: {each: "241 kPa", u_each: "1.4434 kPa", across_axle: "1 kPa", u_across_axle: "2 kPa"}'),  # noqa: E501
         "{verdict: not_shown, reason: missing}", "ok"),
        (about("tyres", 'solved: {each: "251 kPa", u_each: "0.5 kPa", across_axle: "1 kPa", u_across_axle: "2 kPa", placard: "240 kPa"}'),  # noqa: E501
         "{verdict: not_met}", "ok"),
        # what the vehicle shows and times are compared plainly
        (about("angle", 'solved: {value: "2.0 deg"}', "OV-SAS"), "{verdict: met}", "ok"),
        (about("angle", 'solved: {value: "2.000001 deg"}', "OV-SAS"), "{verdict: not_met}", "ok"),
        (about("learned", 'solved: {yaw: "1.0 deg", pitch: "0.8 deg"}'), "{verdict: met}", "ok"),
        (about("soon", 'solved: {value: "120 min"}', "OV-FC-STILL-THEN-ROAD"), "{verdict: met}", "ok"),
        (about("soon", 'solved: {value: "121 min"}', "OV-FC-STILL-THEN-ROAD"), "{verdict: not_met}", "ok"),
        # a value left out is missing
        (about("learned", 'solved: {yaw: "1.0 deg"}'), "{verdict: not_shown, reason: missing}", "ok"),
        # several rows
        (about("film", 'solved: [{value: "177.4 um", u_value: "1.565 um"}, {value: "177.5 um", u_value: "1.565 um"}]', "OV-FR-STILL"),  # noqa: E501
         "{verdicts: [met, not_shown]}", "ok"),
        (about("film", 'solved: [{value: "177.4 um", u_value: "1.565 um"}, {value: "177.5 um", u_value: "1.565 um"}]', "OV-FR-STILL"),  # noqa: E501
         "{verdicts: [met, met]}", "failed"),
        # a drive of 600 s, 120 s in one stretch
        (about("drive", "counted: [{low: 600, high: 600}, {low: 599, high: 599}, {low: 599, high: 600}]", "OV-FC-ROAD"),  # noqa: E501
         "{verdicts: [met, not_met, not_shown]}", "ok"),
        (about("drive", "counted: [{low: 600, high: 600, longest_low: 119, longest_high: 119}, "
               "{low: 600, high: 600, longest_low: 119, longest_high: 120}]", "OV-FC-ROAD"),
         "{verdicts: [not_met, not_shown]}", "ok"),
    ],
)  # fmt: skip
def test_values(given: str, expect: str, outcome: str) -> None:
    assert run(given, expect).outcome == outcome


@pytest.mark.parametrize(
    ("given", "outcome", "words"),
    [
        (about("volts", 'solved: {voltage: "13 V"}'), "not_run", '"voltage" is no value of voltage_log here; it takes value'),  # noqa: E501
        (about("volts", 'solved: {value: "13 mm"}'), "not_run", '"value" is judged in V, not in mm'),
        (about("volts", 'solved: {value: "13 V", u_value: "-1 V"}'), "not_run", "cannot be negative"),
        (about("done", 'solved: {value: "13 V"}'), "not_run", "tool_result has no limit"),
        (about("volts", "counted: [{low: 1, high: 1}]"), "not_run", "voltage_log takes solved"),
        (about("drive", 'solved: {value: "600 s"}', "OV-FC-ROAD"), "not_run", "a drive_log takes counted"),
        (about("vlots", 'solved: {value: "13 V"}'), "failed", 'did you mean "volts"'),
        (about("volts", 'solved: {value: "13 V"}', "OV-FC-STIL"), "failed", 'did you mean "OV-FC-STILL"'),
    ],
)  # fmt: skip
def test_the_author_is_told_what_to_mend(given: str, outcome: str, words: str) -> None:
    result = run(given, "{verdict: met}")
    assert result.outcome == outcome
    assert words in result.message


@pytest.mark.parametrize(
    ("given", "expect"),
    [
        ('{procedure: OV-FC-STILL, solved: {value: "13 V"}}', "{verdict: met}"),
        ("{procedure: OV-FC-STILL, proof: volts}", "{verdict: met}"),
        (
            '{procedure: OV-FC-STILL, proof: volts, solved: {value: "13 V"}, make: Orrinvale}',
            "{verdict: met}",
        ),
        ('{procedure: OV-FC-STILL, proof: volts, solved: {value: "13 V"}}', "{required: [OV-FC-STILL]}"),
        (
            '{procedure: OV-FC-STILL, proof: volts, solved: {value: "13 V"}}',
            "{verdict: met, required: [OV-PK]}",
        ),
        ('{procedure: OV-FC-STILL, proof: volts, solved: {value: "13 V"}}', "{verdicts: [met, met]}"),
        ('{procedure: OV-FC-STILL, proof: volts, solved: {value: "13 V"}}', "{reason: missing}"),
        (
            "{procedure: OV-FC-ROAD, proof: drive, counted: [{low: 1, high: 1, longest_low: 1}]}",
            "{verdict: met}",
        ),
        ("{make: Orrinvale}", "{verdict: met}"),
    ],
)
def test_an_example_is_of_one_form_or_of_the_other(given: str, expect: str) -> None:
    with pytest.raises(PackError) as caught:
        edition(given, expect)
    assert "example_form" in [fault.code for fault in caught.value.faults]


def test_a_stricter_factor_beside_it_holds_for_examples_too() -> None:
    strict = read_pack(
        HEAD.replace("pack: orrinvale\n", "pack: other\n").replace("z: 1.645", "z: 3").encode()
    )
    given = about("volts", 'solved: {value: "12.03 V", u_value: "0.015 V"}')
    one = edition(given, "{verdict: met}")
    assert [result.outcome for result in run_examples(one, BESIDE)] == ["ok"]
    assert [result.outcome for result in run_examples(one, (*BESIDE, strict))] == ["failed"]


@pytest.mark.parametrize("distance", ["3213.83 mm", "3213.84 mm", "3216.2 mm", "3216.1 mm", "3200 mm"])
def test_a_target_is_decided_limit_by_limit_by_the_same_function_as_a_job(distance: str) -> None:
    """JCGM 106:2012 with u 0.713 mm: met up to 3213.827 mm, not met from 3216.173 mm on."""
    target = proof("OV-FC-STILL", "target")
    near = {name: (0.0, "mm" if name == "sideways" else "deg") for name in ("sideways", "yaw", "bar_tilt")}
    u = {f"u_{name}": (0.05, unit) for name, (_, unit) in near.items()}
    rest = {**near, **u, "height": (1345.0, "mm"), "u_height": (1.17, "mm"), "u_distance": (0.713, "mm")}
    limit = target.arguments["distance"]
    assert isinstance(limit, Limit)
    value = parse_quantity(distance)
    decided = decide_solved(target, {**rest, "distance": value}, 1.645)
    decision = decide_limit(value[0], 0.713, limit, 1.645)
    assert decided.verdict == decision.verdict
    assert decided.parts["distance"] == decision.verdict
    assert decided.reasons == ((decision.reason,) if decision.reason else ())


def test_several_ways_are_decided_by_those_with_values() -> None:
    film = '      - {id: film,   check: film_build, points: 5, zone: front_radar, limit: "at most 180 um", waivable: no, cite: {source: S-FR, section: "2.2"}}\n'  # noqa: E501
    assert HEAD.count(film) == 1
    ways = (
        '      - {id: film, any_of: [{check: film_build, points: 5, zone: front_radar, limit: "at most 180 um"}, '  # noqa: E501
        "{check: photo_set, needs: [radar_zone]}]}\n"
    )
    text = HEAD.replace(film, ways) + "examples: []\n"
    radar = read_pack(text.replace("examples: []\n", "").encode()).procedure("OV-FR-STILL")
    assert radar is not None
    several = next(one for one in radar.proofs if one.id == "film")
    thin = decide_solved(several, {"value": (100.0, "um"), "u_value": (1.5, "um")}, 1.645)
    thick = decide_solved(several, {"value": (300.0, "um"), "u_value": (1.5, "um")}, 1.645)
    assert (thin.verdict, thick.verdict, thick.reasons) == ("met", "not_shown", ("missing",))
    assert thick.parts == {"limit": "not_met"}


def test_without_a_limit_nothing_is_decided() -> None:
    with pytest.raises(NotDecidableError):
        decide_solved(proof("OV-FC-STILL", "done"), {}, 1.645)
