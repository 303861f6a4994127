"""``manage.py log_proof``: one entry of a log, the proof that it is in it, and the signed head it is in.

Exit status 0: the proof is printed; 1: the entry is there but the log no longer gives a head's root; 2: no
such organisation, entry or head.
"""

import json
from argparse import ArgumentParser
from typing import Any
from uuid import UUID

from django.core.management.base import BaseCommand
from django.db import DatabaseError

from jobs.ledger.proof import ProofError, proof_of_entry
from jobs.models import Organisation


class Command(BaseCommand):
    """Prints one JSON document that a stranger can check with ``rules.seal.log_proofs`` alone."""

    help = "Prints the proof that one entry is in the log, under the newest signed head. Exit 0, 1 or 2."
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("n", type=int, help="number of the entry, counted from 1")
        parser.add_argument("--org", required=True, help="id of the organisation")
        parser.add_argument("--size", type=int, default=0, help="under the head of this size, not the newest")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            organisation = Organisation.objects.filter(pk=UUID(options["org"])).first()
            if organisation is None:
                raise LookupError("there is no such organisation")
            told = proof_of_entry(organisation, options["n"], size=options["size"] or None)
        except ProofError as error:
            self._refuse(str(error), 1)
        except (LookupError, ValueError, DatabaseError) as error:
            self._refuse(str(error), 2)
        self.stdout.write(json.dumps(told, indent=2, ensure_ascii=False))

    def _refuse(self, why: str, status: int) -> None:
        self.stderr.write(f"no proof: {why}")
        raise SystemExit(status)
