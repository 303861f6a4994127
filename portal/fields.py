"""Fields of request bodies: each takes its own JSON type and nothing that would have to be guessed."""

import re
import uuid
from collections.abc import Mapping
from typing import Any, ClassVar, Final

from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

LONGEST_TEXT: Final = 4000
_INSTANT: Final = re.compile(r"\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}(:\d{2}(\.\d{1,9})?)?([Zz]|[+-]\d{2}:\d{2})")
_NUMBER: Final = re.compile(r"-?\d{1,15}(\.\d{1,12})?")
_VIN: Final = re.compile(r"[0-9A-HJ-NPR-Z]{17}")


class JsonBody(serializers.Serializer[Any]):
    """A JSON object with exactly the declared fields."""

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping):
            unknown = sorted(str(name) for name in data if name not in self.fields)
            if unknown:
                raise ValidationError(
                    {name[:80]: [ErrorDetail("Not a field here.", "unknown_field")] for name in unknown[:20]}
                )
        return super().to_internal_value(data)


class TextField(serializers.CharField):
    """Text as sent, outer blanks kept; a number or a truth value is not text."""

    default_error_messages: ClassVar[dict[str, Any]] = {"invalid": "Must be text."}

    def __init__(self, **options: Any) -> None:
        options.setdefault("max_length", LONGEST_TEXT)
        options.setdefault("trim_whitespace", False)
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid")
        if not data.strip() and not self.allow_blank:
            self.fail("blank")
        return super().to_internal_value(data)


class InstantField(TextField):
    """RFC 3339 with its offset; the text is kept as received, the services read it."""

    default_error_messages: ClassVar[dict[str, Any]] = {"bad_instant": "Use RFC 3339 with an offset."}

    def __init__(self, **options: Any) -> None:
        options.setdefault("max_length", 40)
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> str:
        text = super().to_internal_value(data)
        if text and not _INSTANT.fullmatch(text):
            self.fail("bad_instant")
        return text


class DayField(TextField):
    """A calendar day, ``YYYY-MM-DD``."""

    default_error_messages: ClassVar[dict[str, Any]] = {"bad_date": "Use YYYY-MM-DD."}

    def __init__(self, **options: Any) -> None:
        options.setdefault("max_length", 10)
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> str:
        text = super().to_internal_value(data)
        if text and not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text):
            self.fail("bad_date")
        return text


class NumberTextField(TextField):
    """A number as it was typed (text), so that its digits are kept; a JSON integer is taken as its digits.

    A JSON fraction is refused: between the keys and here it has been a binary number.
    """

    default_error_messages: ClassVar[dict[str, Any]] = {
        "bad_number": "Write the number as text, digits with at most one point.",
    }

    def __init__(self, **options: Any) -> None:
        options.setdefault("max_length", 30)
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> str:
        if isinstance(data, int) and not isinstance(data, bool):
            data = str(data)
        if isinstance(data, float):
            self.fail("bad_number")
        text = super().to_internal_value(data)
        if text and not _NUMBER.fullmatch(text):
            self.fail("bad_number")
        return text


class JsonNumberField(serializers.FloatField):
    """A number as a machine wrote it, kept as it is; text and truth values are none."""

    def to_internal_value(self, data: Any) -> float:
        if isinstance(data, bool) or not isinstance(data, int | float):
            self.fail("invalid")
        return data


class WholeNumberField(serializers.IntegerField):
    """A JSON integer; "3" and 3.0 are not."""

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, bool) or not isinstance(data, int):
            self.fail("invalid")
        return super().to_internal_value(data)


class YesNoField(serializers.BooleanField):
    """true or false; "yes" and 1 are not."""

    def to_internal_value(self, data: Any) -> bool:
        if not isinstance(data, bool):
            self.fail("invalid", input=data)
        return data


class IdField(serializers.UUIDField):
    """A UUID in its usual form, made by the caller so that a repetition is the same row."""

    def to_internal_value(self, data: Any) -> uuid.UUID:
        if not isinstance(data, str) or len(data) != 36:
            self.fail("invalid", value=str(data)[:40])
        found: uuid.UUID = super().to_internal_value(data)
        return found


class ChoiceField(serializers.ChoiceField):
    """One of a closed list of words; 1 is not "1"."""

    def to_internal_value(self, data: Any) -> str:
        if not isinstance(data, str):
            self.fail("invalid_choice", input=str(data)[:40])
        found: str = super().to_internal_value(data)
        return found


class ManyField(serializers.ListField):
    """A list of at most ``most`` entries and at least ``least``."""

    default_error_messages: ClassVar[dict[str, Any]] = {
        "list_too_long": "At most {most} entries.",
        "list_empty": "At least {least} entry.",
    }

    def __init__(self, *, most: int, least: int = 0, **options: Any) -> None:
        self.most = most
        self.least = least
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> list[Any]:
        if isinstance(data, list) and len(data) > self.most:
            self.fail("list_too_long", most=self.most)
        if isinstance(data, list) and len(data) < self.least:
            self.fail("list_empty", least=self.least)
        found: list[Any] = super().to_internal_value(data)
        return found


class VinField(TextField):
    """A VIN: blanks removed, capitals; then 17 of the digits and letters without I, O and Q (ISO 3779)."""

    default_error_messages: ClassVar[dict[str, Any]] = {
        "vin_format": "A VIN has 17 of 0-9 and A-Z without I, O and Q.",
    }

    def __init__(self, **options: Any) -> None:
        options.setdefault("max_length", 40)
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> str:
        vin = "".join(super().to_internal_value(data).split()).upper()
        if not _VIN.fullmatch(vin):
            self.fail("vin_format")
        return vin


def evidence_field() -> ManyField:
    """Ids of the evidence files that the record was taken from."""
    return ManyField(child=IdField(), most=100, required=False)


def words_field(*, longest: int = 80, required: bool = False) -> ManyField:
    """A list of short words."""
    return ManyField(child=TextField(max_length=longest), most=200, required=required)
