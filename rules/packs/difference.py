"""What another edition of a pack asks for that this one does not, in plain words; complete, or it says so."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from typing import Any, Final

from rules.packs.model import Example, PackEdition, Procedure, Proof, Source
from rules.packs.proof_difference import changes_of
from rules.packs.text_words import (
    listed,
    procedure_subject,
    proof_quoted,
    proof_subject,
    words_of,
)
from rules.packs.trigger_difference import trigger_differences
from rules.vocabulary import plain_operation, plain_sensor

# Where a thing stands in the file, and by which of the shared groups a proof came, asks for nothing.
_NO_MATTER: Final = ("line", "lines", "order_line", "sha256", "uses", "drops", "pack")
_STANDING: Final = ("static", "static_then_dynamic")


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One change. ``kind``: proof, procedure, trigger, not_needed, source, edition, example, text.

    ``place`` is stable, for programs (``OV-FC-STILL/target``); ``words`` are one sentence.
    """

    kind: str
    place: str
    words: str


def differences(old: PackEdition, new: PackEdition) -> tuple[Difference, ...]:
    """Every change from ``old`` to ``new``: what is asked for first, then when, then by which document.

    Two editions that differ in anything a job could be judged by never give nothing. Where only names of
    groups, comments or the layout of the file differ, one entry of kind ``text`` says so.

    Raises:
        ValueError: they are not editions of one pack.
    """
    if old.pack != new.pack:
        raise ValueError(f"{old.pack} and {new.pack} are two packs")
    found = [
        *_procedures(old, new),
        *(
            Difference(kind=kind, place=place, words=words)
            for kind, place, words in trigger_differences(old, new)
        ),
        *_sources(old.sources, new.sources),
        *_whole_pack(old, new),
        *_examples(old.examples, new.examples),
    ]
    if not found and old.sha256 != new.sha256:
        words = "Nothing that a job is judged by differs: only comments, names of groups or the layout."
        found.append(Difference(kind="text", place=new.pack, words=words))
    return tuple(found)


def plain_difference(old: PackEdition, new: PackEdition) -> str:
    """All changes as one text, a sentence each."""
    return " ".join(item.words for item in differences(old, new))


# ------------------------------------------------------------------ procedures and proofs


@dataclass(frozen=True, slots=True, kw_only=True)
class _ProofChange:
    """``shared``: the group it comes from, so that one change of a group is told once."""

    procedure: Procedure
    proof_id: str
    subject: str
    words: str
    shared: str | None


def _procedures(old: PackEdition, new: PackEdition) -> Iterator[Difference]:
    was = {item.id: item for item in old.procedures}
    now = {item.id: item for item in new.procedures}
    both = [(was[name], now[name]) for name in now if name in was]
    yield from _told_once([change for pair in both for change in _proof_changes(*pair)])
    for before, after in both:
        yield from _procedure(before, after)
    for name, item in now.items():
        if name not in was:
            proofs = ", ".join(proof_quoted(proof) for proof in item.proofs)
            yield _said("procedure", name, f'New procedure "{item.title}" ({name}), with {proofs}.')
    for name, item in was.items():
        if name not in now:
            yield _said("procedure", name, f'Procedure "{item.title}" ({name}) is no longer there.')
    yield from _order_of("procedures", old.procedures, new.procedures)


def _said(kind: str, place: str, words: str) -> Difference:
    return Difference(kind=kind, place=place, words=words)


def _proof_changes(old: Procedure, new: Procedure) -> Iterator[_ProofChange]:
    was = {proof.id: proof for proof in old.proofs}
    now = {proof.id: proof for proof in new.proofs}
    for name in dict.fromkeys((*now, *was)):
        before, after = was.get(name), now.get(name)
        if before is None and after is not None:
            yield _change(new, after, "", f"new proof {proof_quoted(after)}{_waiver(after)}")
        elif after is None and before is not None:
            yield _change(new, before, "", f"proof {proof_quoted(before)} is no longer asked for")
        elif before is not None and after is not None:
            for words in changes_of(before, after):
                yield _change(new, after, proof_subject(after), words)


def _waiver(proof: Proof) -> str:
    return f", which the {words_of(proof.waive_role or 'nobody')} may waive" if proof.waivable else ""


def _change(procedure: Procedure, proof: Proof, subject: str, words: str) -> _ProofChange:
    return _ProofChange(
        procedure=procedure, proof_id=proof.id, subject=subject, words=words, shared=proof.group
    )


def _told_once(changes: list[_ProofChange]) -> Iterator[Difference]:
    """The same change of one group in several procedures is one sentence that names them."""
    together: dict[tuple[object, ...], list[_ProofChange]] = {}
    for item in changes:
        alone = item.procedure.id if item.shared is None else ""
        key = (alone, item.shared, item.proof_id, item.subject, item.words)
        together.setdefault(key, []).append(item)
    for group in together.values():
        first = group[0]
        where = _where([item.procedure for item in group])
        subject = f"{first.subject}, {where}" if first.subject else where
        place = ",".join(item.procedure.id for item in group) + f"/{first.proof_id}"
        yield _said("proof", place, f"{_capital(subject)}: {first.words}.")


def _where(procedures: list[Procedure]) -> str:
    """``standing procedures (OV-FC-STILL, OV-FR-STILL)``; of one procedure its title."""
    if len(procedures) == 1:
        return procedure_subject(procedures[0])
    names = ", ".join(item.id for item in procedures)
    kinds = {item.kind for item in procedures}
    if kinds <= set(_STANDING):
        return f"standing procedures ({names})"
    return f"road procedures ({names})" if kinds == {"dynamic"} else f"procedures {names}"


def _procedure(old: Procedure, new: Procedure) -> Iterator[Difference]:
    for field in fields(Procedure):
        was, now = getattr(old, field.name), getattr(new, field.name)
        if field.name in (*_NO_MATTER, "proofs") or was == now:
            continue
        words = _PROCEDURE_WORDS.get(field.name, _plainly(field.name))(was, now)
        if words:
            yield _said("procedure", new.id, f"{_capital(procedure_subject(new))}: {words}.")
    shared = [proof.id for proof in old.proofs if any(proof.id == one.id for one in new.proofs)]
    again = [proof.id for proof in new.proofs if proof.id in shared]
    if shared != again:
        yield _said(
            "procedure", new.id, f"{_capital(procedure_subject(new))}: the proofs stand in another order."
        )


Words = Callable[[Any, Any], str]


def _plainly(name: str) -> Words:
    return lambda was, now: f"{words_of(name)} was {_shown(was)}, now {_shown(now)}"


def _shown(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if value is None or value == "":
        return "not stated"
    return listed(value) if isinstance(value, tuple) else str(value)


def _cited(was: Any, now: Any) -> str:
    """A later edition of the same document is told once, with the document."""
    if (was.source.id, was.section) == (now.source.id, now.section):
        return ""
    return f"was cited from {was.text}, now from {now.text}"


_PROCEDURE_WORDS: Final[Mapping[str, Words]] = {
    "cite": _cited,
    "refusable": lambda was, now: (
        "the owner may now refuse it (looser)" if now else "the owner may no longer refuse it (tighter)"
    ),
    "order": lambda was, now: f"order was {_arrows(was)}, now {_arrows(now)}",
}


def _arrows(names: tuple[str, ...]) -> str:
    return " → ".join(words_of(name) for name in names) or "not asked for"


def _order_of(what: str, old: Iterable[Any], new: Iterable[Any]) -> Iterator[Difference]:
    was, now = [item.id for item in old], [item.id for item in new]
    if [name for name in was if name in now] != [name for name in now if name in was]:
        yield _said("text", what, f"The {what} stand in another order, and are printed so.")


# ------------------------------------------------------------------ sources, pack, examples


def _sources(old: tuple[Source, ...], new: tuple[Source, ...]) -> Iterator[Difference]:
    was = {item.id: item for item in old}
    now = {item.id: item for item in new}
    for name in dict.fromkeys((*now, *was)):
        before, after = was.get(name), now.get(name)
        if before is None and after is not None:
            yield _said("source", name, f"New source {_source(after)}.")
        elif after is None and before is not None:
            yield _said("source", name, f"Source {_source(before)} is no longer named.")
        elif before is not None and after is not None and before != after:
            yield _said("source", name, _source_change(before, after))


def _source(item: Source) -> str:
    """``Document OV-SI-2114``, or what stands in for a document."""
    return f"Document {item.document}" if item.document else f"{words_of(item.kind)} {item.id}"


def _source_change(old: Source, new: Source) -> str:
    told = []
    if old.document == new.document and old.edition != new.edition:
        told.append(f"was edition {old.edition}, now {new.edition}")
    for field in fields(Source):
        was, now = getattr(old, field.name), getattr(new, field.name)
        if was != now and not (field.name == "edition" and told):
            told.append(f"{words_of(field.name)} was {_shown(was)}, now {_shown(now)}")
    return f"{_capital(_source(new))}: {'; '.join(told)}."


def _whole_pack(old: PackEdition, new: PackEdition) -> Iterator[Difference]:
    told_elsewhere = ("procedures", "triggers", "not_needed", "sources", "examples", "groups")
    for field in fields(PackEdition):
        was, now = getattr(old, field.name), getattr(new, field.name)
        if field.name in (*_NO_MATTER, *told_elsewhere) or was == now:
            continue
        words = _PACK_WORDS.get(field.name, _plainly(field.name))(was, now)
        yield _said("edition", field.name, f"{_capital(words)}.")


def _sets(begin: str, plain: Callable[[str], str] = str) -> Words:
    def words(was: tuple[str, ...], now: tuple[str, ...]) -> str:
        added = [plain(one) for one in now if one not in was]
        gone = [plain(one) for one in was if one not in now]
        told = [f"now also {', '.join(added)}"] if added else []
        told += [f"no longer {', '.join(gone)}"] if gone else []
        return f"{begin}: {', '.join(told) or 'the same in another order'}"

    return words


def _tables(begin: str, plain: Callable[[str], str]) -> Words:
    def words(was: Mapping[str, tuple[str, ...]], now: Mapping[str, tuple[str, ...]]) -> str:
        told = [
            f"{plain(key)} was {_table_entry(was.get(key))}, now {_table_entry(now.get(key))}"
            for key in dict.fromkeys((*now, *was))
            if was.get(key) != now.get(key)
        ]
        return f"{begin}: {'; '.join(told) or 'the same in another order'}"

    return words


def _table_entry(names: tuple[str, ...] | None) -> str:
    return "not stated" if names is None else listed(names)


def _years(was: Any, now: Any) -> str:
    shown = ["any" if one is None else f"{one[0]} to {one[1]}" for one in (was, now)]
    return f"model years covered were {shown[0]}, now {shown[1]}"


def _named(item: tuple[str, int] | None) -> str:
    return "nothing" if item is None else f"{item[0]} {item[1]}"


def _makes(was: tuple[str, ...], now: tuple[str, ...]) -> str:
    """No make named means every make."""
    shown = [", ".join(one) or "any make" for one in (was, now)]
    return f"makes covered were {shown[0]}, now {shown[1]}"


def _models(was: tuple[str, ...], now: tuple[str, ...]) -> str:
    """No model named means every model of the make."""
    shown = [", ".join(one) or "any model" for one in (was, now)]
    return f"models covered were {shown[0]}, now {shown[1]}"


_PACK_WORDS: Final[Mapping[str, Words]] = {
    "edition": lambda was, now: f"edition was {was}, now {now}",
    "in_force_from": lambda was, now: f"in force from {now}, was from {was}",
    "makes": _makes,
    "models": _models,
    "model_years": _years,
    "builds_on": lambda was, now: (
        f"builds on {', '.join(map(_named, now)) or 'nothing'} or later,"
        f" was on {', '.join(map(_named, was)) or 'nothing'}"
    ),
    "replaces": lambda was, now: f"replaces {_named(now)}, was to replace {_named(was)}",
    "z": lambda was, now: (
        f"decision factor z was {was:g}, now {now:g} ({'stricter' if now > was else 'less strict'})"
    ),
    "speaks_for": _sets("the pack speaks for", plain_sensor),
    "depends_on": _tables("codes of other modules that count with a sensor", plain_sensor),
    "zones": _tables("surroundings", plain_operation),
    "keep_plan_edition": lambda was, now: (
        "requirements now stay with the edition of the fixed plan"
        if now
        else "requirements no longer stay with the edition of the fixed plan"
    ),
    "house": lambda was, now: "now a house pack" if now else "no longer a house pack",
}


def _examples(old: tuple[Example, ...], new: tuple[Example, ...]) -> Iterator[Difference]:
    was = {item.name: item for item in old}
    now = {item.name: item for item in new}
    for name in dict.fromkeys((*now, *was)):
        before, after = was.get(name), now.get(name)
        if before is None:
            yield _said("example", name, f'New example "{name}".')
        elif after is None:
            yield _said("example", name, f'Example "{name}" is no longer there.')
        else:
            told = [
                f"{word} {_pairs(getattr(before, key))}, now {_pairs(getattr(after, key))}"
                for key, word in (("given", "was given"), ("expect", "expected"))
                if getattr(before, key) != getattr(after, key)
            ]
            if told:
                yield _said("example", name, f'Example "{name}": {"; ".join(told)}.')


def _pairs(table: Mapping[str, object]) -> str:
    return "; ".join(f"{words_of(key)}: {_shown(value)}" for key, value in table.items()) or "nothing"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
