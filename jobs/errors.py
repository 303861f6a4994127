"""Errors of the record: each has a stable ``code`` a caller can act on; HTTP is none of their business."""

# The names say what happened to the caller, not that something broke.
# ruff: noqa: N818


class DomainError(Exception):
    """Something the record does not allow or does not have.

    Attributes:
        code: stable, lower case with underscores; what programs and tests look at.
        message: plain words for the person at the screen.
        extra: JSON-able facts that help to act (for example the list of open proofs).
    """

    default_code = "not_possible"
    default_message = "That is not possible."

    def __init__(self, code: str | None = None, message: str | None = None, **extra: object) -> None:
        self.code = code or self.default_code
        self.message = message or self.default_message
        self.extra = extra
        super().__init__(f"{self.code}: {self.message}")


class NotFound(DomainError):
    """Absent, or not this caller's: the two must look the same, so this error takes no arguments."""

    default_code = "not_found"
    default_message = "There is no such thing here."

    def __init__(self) -> None:
        super().__init__()


class Refused(DomainError):
    """The input was understood and is not accepted; nothing was kept."""

    default_code = "refused"
    default_message = "This was not accepted."


class Conflict(DomainError):
    """The record is not in the state that this step needs."""

    default_code = "conflict"
    default_message = "The record has changed or is not at this step."


class VersionConflict(Conflict):
    """Somebody else changed the row since the caller read it."""

    default_code = "version_conflict"
    default_message = "Somebody changed this since you opened it. Read it again."


class NotAllowed(DomainError):
    """The caller may see it, but may not do this."""

    default_code = "not_allowed"
    default_message = "Your role does not allow this."


class NotSignedIn(DomainError):
    """No credential, or one that does not hold (unknown, expired, revoked: all the same to the caller)."""

    default_code = "not_signed_in"
    default_message = "Sign in again."


class Gone(DomainError):
    """It was here and has been taken away for good (a grant that ran out, a file removed by retention)."""

    default_code = "gone"
    default_message = "This is no longer available."


class Unavailable(DomainError):
    """A dependency does not answer; the same request may succeed later."""

    default_code = "unavailable"
    default_message = "A part of the system does not answer. Try again in a moment."
