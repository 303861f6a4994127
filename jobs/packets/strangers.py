"""Other people's cars and names in what a packet says: found, and replaced by words that stay the same.

What leaves the shop's hands holds nothing of other cars, customers and jobs. The replaced record is judged,
so that the packet gives the same verdicts again; a hash that was taken of a replaced text is replaced too,
since it would let the text be guessed.
"""

import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from rules.canonical import sha256_hex
from rules.science.vin import normalise

# 17 characters without I, O, Q, at least four of them digits (ISO 3779), standing alone.
VIN_FORM: Final = re.compile(
    r"(?<![A-Za-z0-9])(?=(?:[A-Za-z]*[0-9]){4})[A-HJ-NPR-Za-hj-npr-z0-9]{17}(?![A-Za-z0-9])"
)
_WORD: Final = re.compile(r"[^\W_]+(?:[.'’@+-][^\W_]+)*\.?")
_MEETING: Final = re.compile(r"[^\W\d_](?=\d)|\d(?=[^\W\d_])")
_NOT_COMPARED: Final = re.compile(r"[\W_]+")
LONGEST_NAME_WORDS: Final = 6
# Up to this length a name may be broken across lines.
WHOLE_TEXT: Final = 4000
# Shorter ones would be found everywhere (project default).
SHORTEST_NAME: Final = 4

VEHICLE, CUSTOMER, ORDER = "another vehicle", "another customer", "another order"
OWN_NAME: Final = "the customer"
_IDS: Final[Mapping[str, str]] = {"other_evidence": "another picture", "job_id": "another job"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What belongs to others, and what of the own customer this packet does not tell.

    Attributes:
        vin: of the packet's own car.
        job_id: of the packet's own job.
        others: text -> what it is: another customer, vehicle (plate) or order. Kept as ``compared``.
        own: texts of the own customer to replace -> words for them. Kept as ``compared``.
        hides_owner: whether a refusal's name is replaced where the owner signed.
        beginnings: how the first word of a text that names one of them may read.
    """

    vin: str
    job_id: str
    others: Mapping[str, str] = field(default_factory=dict)
    own: Mapping[str, str] = field(default_factory=dict)
    hides_owner: bool = False
    beginnings: frozenset[str] = field(init=False, repr=False, default=frozenset())

    def __post_init__(self) -> None:
        begins: set[str] = set()
        for name in ("others", "own"):
            kept: dict[str, str] = {}
            for text, words in getattr(self, name).items():
                whole = compared(text)
                kept[whole] = words
                begins.update(_beginnings(text, whole))
            object.__setattr__(self, name, kept)
        object.__setattr__(self, "beginnings", frozenset(begins))

    def said_in(self, text: str) -> set[str]:
        """Phrases of ``text`` that name somebody or something known, as they are spelled there (folded).

        A long text is looked through line by line, and a line that no such name begins in is passed over.
        """
        found: set[str] = set()
        text = unicodedata.normalize("NFC", text)
        for piece in (text,) if len(text) <= WHOLE_TEXT else text.splitlines():
            if not self.beginnings.isdisjoint(map(compared, _WORD.findall(piece))):
                found |= {phrase for phrase in phrases(piece) if self._is_known(compared(phrase))}
        return found

    def _is_known(self, text: str) -> bool:
        return text in self.others or text in self.own


def compared(text: str) -> str:
    """A name, plate or number by its letters and digits alone: however blanks, dots and dashes are set."""
    plain = text if text.isascii() else unicodedata.normalize("NFKC", text)
    return _NOT_COMPARED.sub("", plain.casefold())


def _beginnings(text: str, whole: str) -> Iterator[str]:
    """The first word of a text, the whole, and where letters and digits meet, each part up to there."""
    first = _WORD.search(text)
    if first is not None:
        yield compared(first.group())
    yield whole
    yield from (whole[: place.start() + 1] for place in _MEETING.finditer(whole))


def fold(text: str) -> str:
    """For comparing names, plates and numbers: without case, blanks made one, no marks at the ends."""
    return " ".join(text.casefold().split()).strip(".,;:!?()\"'")


def phrases(text: str) -> set[str]:
    """Every run of up to six words of ``text``, folded, as a name in it could be spelled elsewhere."""
    words = [found.span() for found in _WORD.finditer(text)]
    found: set[str] = set()
    for first in range(len(words)):
        for last in range(first, min(first + LONGEST_NAME_WORDS, len(words))):
            run = fold(text[words[first][0] : words[last][1]].replace("_", " "))
            run = run.removesuffix("'s").removesuffix("’s")
            found |= {run, _INITIAL.sub(r"\1.", run)}
    return found


_INITIAL: Final = re.compile(r"\b([^\W\d_])(?=\s)")


def strings_in(value: Any) -> Iterable[str]:
    """Every text in plain data."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from strings_in(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from strings_in(item)


def has_vin_of_another(text: str, own_vin: str) -> bool:
    """Whether a VIN other than the own one stands in ``text``."""
    return any(normalise(found.group()) != normalise(own_vin) for found in VIN_FORM.finditer(text))


class Replacer:
    """Replaces by words, the same for the same; remembers which records and hashes were touched."""

    def __init__(self, known: Known) -> None:
        self.known = known
        self.words: dict[tuple[str, str], str] = {}
        self.hashes: dict[str, str] = {}
        self.touched: set[str] = set()

    @property
    def count(self) -> int:
        """How many identifiers of others were replaced."""
        return len(self.words)

    def word(self, kind: str, text: str) -> str:
        """``another vehicle 1`` for the first of its kind, the same word again for the same text."""
        key = (kind, text)
        if key not in self.words:
            number = 1 + len([1 for other, _ in self.words if other == kind])
            self.words[key] = f"{kind} {number}"
        return self.words[key]

    def text(self, text: str) -> str:
        """A free text with other people's identifiers replaced."""
        changed = VIN_FORM.sub(self._vin, text)
        said = self.known.said_in(changed)
        if said:
            # As its phrases are spelled; a text that names nobody stays as it was written.
            changed = unicodedata.normalize("NFC", changed)
        for phrase in sorted(said, key=lambda found: (-len(found), found)):
            text_of = compared(phrase)
            words = self.known.own.get(text_of) or self.word(self.known.others[text_of], text_of)
            changed = _spelled(phrase).sub(words, changed)
        return changed

    def _vin(self, found: re.Match[str]) -> str:
        vin = normalise(found.group())
        return found.group() if vin == normalise(self.known.vin) else self.word(VEHICLE, vin)

    def vin(self, text: str) -> str:
        """A reading of a VIN: whatever differs from the own one is another vehicle's."""
        if not text.strip() or normalise(text) == normalise(self.known.vin):
            return text
        return self.word(VEHICLE, normalise(text)).upper().replace(" ", "-")

    # -------------------------------------------------------------- records

    def facts(self, plain: Mapping[str, Any]) -> dict[str, Any]:
        """Plain facts with everything of others replaced, hashes of touched records among it."""
        changed = {name: self._value(name, value) for name, value in plain.items() if name != "vehicle"}
        changed["vehicle"] = plain["vehicle"]
        changed["sign_offs"] = [self._sign_off(item) for item in changed.get("sign_offs", ())]
        return changed

    def _value(self, name: str, value: Any) -> Any:
        if not isinstance(value, list | tuple) or name in _PROGRAM_LISTS:
            return value
        return [self._record(name, item) if isinstance(item, Mapping) else item for item in value]

    def _record(self, name: str, record: Mapping[str, Any]) -> dict[str, Any]:
        special = _SPECIAL[name](self, record) if name in _SPECIAL else {}
        changed = {
            key: special[key] if key in special else self._deep(key, item) for key, item in record.items()
        }
        if changed != dict(record):
            self.touched.add(str(record.get("id", "")))
            # The hash of an evidence file is that of its bytes, which say nothing of the row.
            if name not in ("photos", "files", "drive_logs") and "sha256" in record:
                changed["sha256"] = sha256_hex(f"not shown: {record.get('id')}".encode())
                self.hashes[record["sha256"]] = changed["sha256"]
        return changed

    def _deep(self, key: str, value: Any) -> Any:
        if isinstance(value, str):
            if key == "job_id" and value and value != self.known.job_id:
                return self.word("another job", value)
            if key == "other_evidence":
                return self.word("another picture", value)
            return value if key in _PROGRAM_KEYS else self.text(value)
        if isinstance(value, Mapping):
            return {inner: self._deep(inner, item) for inner, item in value.items()}
        if isinstance(value, list | tuple) and value and isinstance(value[0], str | Mapping):
            return [self._deep(key, item) for item in value]
        return value

    def _sign_off(self, item: Mapping[str, Any]) -> dict[str, Any]:
        covers = [self.hashes.get(found, found) for found in item["covers"]]
        if covers == list(item["covers"]):
            return dict(item)
        # The root over the covers would let a replaced hash be guessed, and with it the text.
        return {**item, "covers": sorted(covers), "covers_root": ""}


def _spelled(phrase: str) -> re.Pattern[str]:
    """The phrase however its blanks, dots and case are written, standing alone."""
    inner = r"[\s_.]+".join(re.escape(word.rstrip(".")) for word in phrase.split())
    return re.compile(rf"(?<![^\W_]){inner}(?![^\W_])", re.IGNORECASE)


def _identity(self: Replacer, record: Mapping[str, Any]) -> dict[str, Any]:
    return {"vin_read": self.vin(record["vin_read"])}


def _scan(self: Replacer, record: Mapping[str, Any]) -> dict[str, Any]:
    return {"vin_per_module": [[name, self.vin(vin)] for name, vin in record["vin_per_module"]]}


def _refusal(self: Replacer, record: Mapping[str, Any]) -> dict[str, Any]:
    is_owner = record["relation"] == "owner"
    if self.known.hides_owner and is_owner and record["refused_by_name"].strip():
        return {"refused_by_name": OWN_NAME}
    return {}


_SPECIAL: Final[Mapping[str, Callable[[Replacer, Mapping[str, Any]], dict[str, Any]]]] = {
    "identity_readings": _identity,
    "scans": _scan,
    "refusals": _refusal,
}
# Lists that name the shop's own people, papers and instruments, and nobody else.
_PROGRAM_LISTS: Final = frozenset(
    {"people", "adhesive_sheets", "sensor_functions", "equipment", "climate_logs", "voltage_logs"}
)
# Fields whose words the program or the packs give.
_PROGRAM_KEYS: Final = frozenset(
    {
        "id", "sha256", "received_at", "ended_at", "ended_how", "low", "high", "reading", "clock", "by",
        "way", "sensor", "state", "operation", "kind", "stage", "media_type", "procedure_id", "proof_id",
        "quantity", "evidence", "session", "sessions", "covers", "covers_root", "role", "person",
        "performed_by", "relation", "granted_by", "witness", "result", "tz", "code", "unit", "system",
        "function", "at",
    }
)  # fmt: skip
