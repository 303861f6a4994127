"""The status byte of a trouble code (ISO 14229-1, annex D.2): its eight bits, and the state they show."""

from dataclasses import dataclass
from typing import Literal

State = Literal["present", "intermittent", "stored"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeStatus:
    """The bits of the byte, from bit 0 to bit 7, under the names of the standard."""

    test_failed: bool
    test_failed_this_operation_cycle: bool
    pending: bool
    confirmed: bool
    test_not_completed_since_last_clear: bool
    test_failed_since_last_clear: bool
    test_not_completed_this_operation_cycle: bool
    warning_indicator_requested: bool

    @property
    def state(self) -> State | None:
        """present: fails now; intermittent: failed, not at the last test; stored: history only.

        None where no bit tells of a failure: then nothing is shown, least of all that there is no fault, if
        its test has not run since the codes were cleared.
        """
        if self.test_failed or self.warning_indicator_requested:
            return "present"
        if self.pending or self.test_failed_this_operation_cycle:
            return "intermittent"
        return "stored" if self.confirmed or self.test_failed_since_last_clear else None

    @property
    def is_tested(self) -> bool:
        """Has the test run to its end since the codes were cleared, and in this operation cycle?"""
        return not (self.test_not_completed_since_last_clear or self.test_not_completed_this_operation_cycle)


def status_of(byte: int) -> CodeStatus:
    """The status that a byte stands for: 0x09 fails now and is confirmed.

    Raises:
        ValueError: outside 0 to 255.
    """
    if not 0 <= byte <= 0xFF:
        raise ValueError("a status is one byte")
    return CodeStatus(
        test_failed=bool(byte & 0x01),
        test_failed_this_operation_cycle=bool(byte & 0x02),
        pending=bool(byte & 0x04),
        confirmed=bool(byte & 0x08),
        test_not_completed_since_last_clear=bool(byte & 0x10),
        test_failed_since_last_clear=bool(byte & 0x20),
        test_not_completed_this_operation_cycle=bool(byte & 0x40),
        warning_indicator_requested=bool(byte & 0x80),
    )
