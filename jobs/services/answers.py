"""Answers kept for requests that are sent again: how long, and which of them an erasure takes away."""

import json
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

from django.db.models import Q

from jobs.models import IdempotencyRecord, unscoped

# A tablet that was away sends its queue again within this time (project default). An answer may hold a name,
# or the secret of a link, which stands nowhere else in the record.
KEPT_FOR: Final = timedelta(days=7)


def forget_answers(*, as_of: datetime) -> int:
    """Deletes answers older than ``KEPT_FOR``, of every organisation; returns how many."""
    oldest = as_of - KEPT_FOR
    with unscoped():
        rows = IdempotencyRecord.objects.filter(
            Q(finished_at__lt=oldest) | Q(finished_at__isnull=True, started_at__lt=oldest)
        )
        return rows.delete()[0]


def forget_answers_about(texts: Iterable[str]) -> int:
    """Deletes kept answers of the open organisation that hold one of the texts; returns how many."""
    spelled = {form for text in texts if text.strip() for form in _spellings(text)}
    rows = IdempotencyRecord.objects.exclude(body=b"").values_list("pk", "body")
    hit = [pk for pk, body in rows.iterator(500) if any(form in bytes(body) for form in spelled)]
    return IdempotencyRecord.objects.filter(pk__in=hit).delete()[0]


def _spellings(text: str) -> tuple[bytes, bytes]:
    """As JSON writes it, with and without letters beyond ASCII."""
    return (
        json.dumps(text, ensure_ascii=False)[1:-1].encode(),
        json.dumps(text)[1:-1].encode(),
    )
