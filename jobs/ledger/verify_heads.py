"""Compares heads, stored ones and ones kept outside, with the entries; checks signatures and proofs."""

from collections import defaultdict
from uuid import UUID

from jobs.models import SigningIdentity, TreeHead
from rules.seal import tree_head
from rules.seal.certificates import Certificate, read_certificate
from rules.seal.der import DerError
from rules.seal.log_proofs import GrowingTree, shows_consistency
from rules.seal.public_keys import KeyRefused

PIECE = 500
Fault = tuple[str, int]


class HeadChecks:
    """Is told of each size as the log is read, then looks at the heads themselves.

    Faults, each with the size of the head:
        outside_head: a head kept outside has another root than the entries, or the log is shorter.
        head_root: a stored head has another root than the entries, or the log is shorter.
        head_signature: the signature does not hold, or the certificate is none or was not valid then.
        head_key: the key was never one of this organisation's.
        head_order: a daily head is not tied to the daily head before it, or has fewer entries.
        head_consistency: the proof that it continues the head before it does not hold.
    """

    def __init__(self, organisation_id: UUID, against: tuple[tree_head.TreeHead, ...]) -> None:
        self.compared = 0
        self._heads = TreeHead.objects.filter(organisation_id=organisation_id).order_by("pk")
        self._identities = SigningIdentity.objects.filter(organisation_id=organisation_id)
        self._certificates: dict[bytes, Certificate] = {}
        self._last_daily: TreeHead | None = None
        self._awaited: dict[int, list[tuple[str, str]]] = defaultdict(list)
        for head in against:
            if head.organisation == str(organisation_id):
                self._awaited[head.size].append((head.root, "outside_head"))
        for size, root in self._heads.values_list("size", "root"):
            self._awaited[size].append((root, "head_root"))

    def reached(self, tree: GrowingTree) -> Fault | None:
        """Compares the heads of this size with the entries until here."""
        roots = self._awaited.pop(tree.size, None)
        if roots is None:
            return None
        found = tree.root().hex()
        wrong = [fault for root, fault in roots if root != found]
        self.compared += len(roots)
        return (wrong[0], tree.size) if wrong else None

    def rest(self) -> Fault | None:
        """Heads beyond the log's end, then signatures, keys, order and proofs of all that are stored."""
        if self._awaited:
            size = min(self._awaited)
            return self._awaited[size][0][1], size
        known = set(self._identities.values_list("key_sha256", flat=True))
        for row in self._heads.select_related("previous").iterator(PIECE):
            fault = self._signature_fault(row, known) or self._fault_before(row)
            if fault:
                return fault, row.size
        return None

    def _signature_fault(self, row: TreeHead, known: set[str]) -> str:
        signature, der = bytes(row.signature), bytes(row.certificate)
        if not signature:
            return "head_signature" if der or row.key_sha256 else ""
        try:
            head = tree_head.TreeHead(
                organisation=str(row.organisation_id), size=row.size, root=row.root, at=row.at
            )
            certificate = self._certificates.get(der) or read_certificate(der)
            self._certificates[der] = certificate
            if tree_head.head_fault_by(head, signature, certificate):
                return "head_signature"
            same = certificate.key.sha256 == row.key_sha256
        except (tree_head.HeadError, DerError, KeyRefused):
            return "head_signature"
        return "" if same and row.key_sha256 in known else "head_key"

    def _fault_before(self, row: TreeHead) -> str:
        before = row.previous
        expected, self._last_daily = self._last_daily, row if row.is_daily else self._last_daily
        if row.is_daily and before != expected:
            return "head_order"
        if before is None:
            return ""
        if not before.is_daily or before.size > row.size or before.organisation_id != row.organisation_id:
            return "head_order"
        try:
            path = [bytes.fromhex(step) for step in row.consistency]
        except (TypeError, ValueError):
            return "head_consistency"
        roots = bytes.fromhex(before.root), bytes.fromhex(row.root)
        return "" if shows_consistency(before.size, row.size, *roots, path) else "head_consistency"
