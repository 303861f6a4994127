"""What a redacted packet says of itself: each withheld entry told with its kind and why, and no other."""

from typing import Any, Final

from rules.seal.enclosed import REDACTION_NAME, Enclosed, PartError, read_canonical
from rules.seal.report import Line, differs, judged, not_checked

WHAT: Final = "redaction"
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


def redaction_line(enclosed: Enclosed) -> Line:
    """The list in redaction.json against the leaves without content, both ways, and the painted pictures.

    A packet without such a list may withhold what its kind withholds; that is counted, not judged.
    """
    hidden = enclosed.withheld()
    if REDACTION_NAME not in enclosed.files:
        if hidden:
            return not_checked(WHAT, f"{len(hidden)} entries are withheld, as this kind of packet does.")
        return judged(WHAT, [], "Nothing is withheld.", "")
    try:
        told = read_canonical(enclosed.files[REDACTION_NAME], REDACTION_NAME)
        faults = [*_list_faults(told, set(hidden)), *_picture_faults(enclosed, told)]
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
        *(f"{path} (withheld without a word)" for path in sorted(hidden - named)),
        *(f"{path} (told as withheld, but there)" for path in sorted(named - hidden)),
    ]


def _picture_faults(enclosed: Enclosed, told: dict[str, Any]) -> list[str]:
    """A painted picture that is here has its hash; the original it stands for is not here."""
    faults = []
    for item in told["pictures"]:
        derived = item["derived"]
        found = enclosed.digests.get(str(derived["name"]))
        if found is not None and (found.sha256, found.size) != (derived["sha256"], derived["bytes"]):
            faults.append(str(derived["name"]))
        if str(item["file"]) in enclosed.digests:
            faults.append(f"{item['file']} (told as withheld, but there)")
    return faults
