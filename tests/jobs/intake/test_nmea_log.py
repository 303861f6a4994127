"""NMEA 0183 logs: positions, checksums, damaged lines."""

import pytest

from jobs.errors import Refused
from jobs.intake.nmea_log import read_nmea

# Widely published example of the RMC sentence and its checksum (value from memory): 48 deg 07.038' N,
# 11 deg 31.000' E, 22.4 knots, course 84.4 deg, 23 March 1994 12:35:19 UTC.
PUBLISHED = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A"


def sentence(body: str) -> str:
    value = 0
    for character in body.encode():
        value ^= character
    return f"${body}*{value:02X}\r\n"


def rmc(second: int, *, status: str = "A", lat: str = "4306.000,N", speed: str = "022.4") -> str:
    return sentence(f"GNRMC,1534{second:02d}.00,{status},{lat},09812.000,W,{speed},084.4,050526,,,A")


def code_of(text: str) -> str:
    with pytest.raises(Refused) as refusal:
        read_nmea(text.encode(), None)
    return refusal.value.code


def test_published_sentence() -> None:
    facts, _ = read_nmea(PUBLISHED.encode(), None)
    t, lat, lon, speed, course, accuracy = facts["fixes"][0]
    assert t == 764426119.0
    assert (lat, lon) == pytest.approx((48.1173, 11.516666667), abs=1e-9)
    assert speed == pytest.approx(41.4848)
    assert (course, accuracy) == (84.4, None)


def test_rmc_and_gga_of_one_drive() -> None:
    text = (
        rmc(0)
        + sentence("GNGGA,153400.00,4306.000,N,09812.000,W,1,10,0.9,310.0,M,-25.0,M,,")
        + rmc(1)
        + sentence("GNGGA,153401.00,4306.000,N,09812.000,W,0,00,99.9,,M,,M,,")
        + rmc(2, status="V")
        + sentence("GPGSV,1,1,01,01,40,083,46")
        + rmc(3, speed="")
    )
    facts, notes = read_nmea(text.encode(), None)
    assert [fix[0] % 60 for fix in facts["fixes"]] == [0.0, 3.0]
    assert facts["fixes"][0][1:3] == (43.1, -98.2)
    assert facts["fixes"][1][3] is None
    assert notes == ["slow_sampling"]


def test_one_damaged_sentence_is_a_gap() -> None:
    lines = [rmc(second) for second in range(40)]
    lines[7] = lines[7].replace("4306", "4307")
    facts, notes = read_nmea("".join(lines).encode(), None)
    assert len(facts["fixes"]) == 39
    assert notes == ["nmea_sentences_damaged"]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (rmc(0).replace("4306", "4307"), "nmea_checksum"),
        (rmc(0).split("*")[0] + "\n", "nmea_checksum"),
        (rmc(0) + "position lost\n", "nmea_format"),
        (rmc(0) + rmc(0), "log_time_order"),
        (rmc(5) + rmc(4), "log_time_order"),
        (rmc(0, status="V"), "log_empty"),
        (rmc(0, lat="9001.000,N"), "log_out_of_range"),
        (rmc(0, lat="4360.000,N"), "number_format"),
        (rmc(0, lat="4306.000,E"), "number_format"),
        (rmc(0, lat=",N"), "number_format"),
        (rmc(0, speed="NaN"), "number_format"),
        (rmc(0, speed="300"), "log_out_of_range"),
        (sentence("GNRMC,246060,A,4306.000,N,09812.000,W,1,1,050526,,,A"), "time_format"),
        (sentence("GNRMC,153400,A,4306.000,N,09812.000,W,1,1,310226,,,A"), "time_format"),
        (sentence("GNRMC,153400,A,4306.000,N,09812.000,W,1,1,,,,A"), "time_format"),
        (sentence("GNGGA,153400.00,4306.000,N,09812.000,W,1,10,0.9,310.0,M,-25.0,M,,"), "log_empty"),
    ],
)
def test_refusals(text: str, code: str) -> None:
    assert code_of(text) == code
