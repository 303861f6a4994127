"""What a redacted packet says of itself: each withheld entry told with its kind and why, and no other."""

from collections.abc import Mapping
from typing import Any, Final

from rules.seal.enclosed import REDACTION_NAME, Enclosed, PartError, read_canonical
from rules.seal.report import Line, differs, judged, not_checked

WHAT: Final = "redaction"
# Hash of the newest log entry: it goes with that entry's text, which could be guessed from it.
LOG_HEAD: Final = "packet/log_head"
FORMAT: Final = "redaction 1"
# The kinds of thing that may be withheld: code -> words.
KINDS: Final = {
    "customer_name": "customer's name",
    "contact": "contact",
    "plate": "plate",
    "person_name": "person's name",
    "address": "address",
    "face": "face",
    "anothers_data": "another's data",
    "trade_secret": "trade secret",
    "other": "other",
}
# The verdicts and what they came to: a copy without one of these could pass for a better record.
_SHOWN: Final = frozenset(
    f"assessment/{name}"
    for name in ("verdict", "disposition", "held_because", "left_against_hold", "gate_at")
)
# What a kind of packet leaves out without a list: who the customer is, and lines of the log.
_BY_KIND: Final = ("order/customer_name", "order/customer_contact", "order/plate", "log/", LOG_HEAD)
_SHOWN_RECORDS: Final = ("assessment/findings", "assessment/requirements", "assessment/procedures")


def must_be_shown(path: str) -> bool:
    """Whether no redaction may withhold the entry: what the packet is, and every verdict in it.

    The words of a verdict may go, and what it rests on; that it is met, not met or not shown stays.
    """
    if path.startswith(("packet/", "packs/")) and path != LOG_HEAD:
        return True
    return path in _SHOWN or path.rpartition("/")[0] in _SHOWN_RECORDS


def redaction_line(enclosed: Enclosed, deleted: Mapping[str, str] = {}) -> Line:
    """The list in redaction.json against the leaves without content, both ways, and the painted pictures.

    A packet without such a list may withhold what its kind withholds; that is counted, not judged.
    """
    hidden = enclosed.withheld()
    if REDACTION_NAME not in enclosed.files:
        odd = [f"{path} (withheld without a word)" for path in hidden if not path.startswith(_BY_KIND)]
        if odd and enclosed.form > 1:
            return differs(WHAT, "Something is withheld that no kind of packet withholds.", *odd)
        if hidden:
            return not_checked(WHAT, f"{len(hidden)} entries are withheld, as this kind of packet does.")
        return judged(WHAT, [], "Nothing is withheld.", "")
    try:
        told = read_canonical(enclosed.files[REDACTION_NAME], REDACTION_NAME)
        faults = [*_list_faults(told, set(hidden)), *_picture_faults(enclosed, told, deleted)]
        kinds = {str(item["kind"]) for item in (*told["fields"], *told["pictures"])}
        if told["format"] != FORMAT or told["of"] != enclosed.serial or told["root"] != enclosed.root:
            faults.append(f"{REDACTION_NAME}: it speaks of another packet")
        faults += [f"{REDACTION_NAME}: kind {kind}" for kind in sorted(kinds - KINDS.keys())]
    except (KeyError, TypeError, PartError) as error:
        return differs(WHAT, f"{REDACTION_NAME} cannot be read: {error}", REDACTION_NAME)
    return judged(
        WHAT,
        faults,
        f"{len(hidden)} entries are withheld; each is told, with what kind of thing it was and why.",
        "What is withheld is not what the packet says is withheld.",
    )


def _list_faults(told: dict[str, Any], hidden: set[str]) -> list[str]:
    fields = {str(item["path"]) for item in told["fields"] if str(item["why"]).strip()}
    pictures = {f"files/{item['file']}" for item in told["pictures"] if str(item["why"]).strip()}
    by_kind = {str(path) for path in told["by_kind"]}
    named = fields | pictures | by_kind
    return [
        *(f"{path} (nobody may withhold it)" for path in sorted(hidden) if must_be_shown(path)),
        *(f"{path} (withheld without a word)" for path in sorted(hidden - named)),
        *(f"{path} (told as withheld, but there)" for path in sorted(named - hidden)),
    ]


def _picture_faults(enclosed: Enclosed, told: dict[str, Any], deleted: Mapping[str, str]) -> list[str]:
    """A painted picture that is here has its hash; the original it stands for is not here."""
    faults = []
    for item in told["pictures"]:
        derived = item["derived"]
        found = enclosed.digests.get(str(derived["name"]))
        if found is None and enclosed.has_originals and derived["sha256"] not in deleted:
            faults.append(f"{derived['name']} (missing)")
        if found is not None and (found.sha256, found.size) != (derived["sha256"], derived["bytes"]):
            faults.append(str(derived["name"]))
        if str(item["file"]) in enclosed.digests:
            faults.append(f"{item['file']} (told as withheld, but there)")
    return faults
