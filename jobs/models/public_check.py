"""How often strangers had files checked: for the throttle of the public page, nothing else."""

from typing import ClassVar

from django.db import models


class PublicCheck(models.Model):
    """Files checked on the public page, per address and minute; kept two hours.

    Of no organisation: nothing is known of who asks, and nothing of what was checked is kept. ``source`` is
    empty for the count of all addresses.
    """

    id = models.BigAutoField(primary_key=True)
    source = models.CharField(max_length=45, blank=True, default="")
    minute = models.DateTimeField()
    count = models.PositiveIntegerField(default=0)

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(fields=("source", "minute"), name="public_check_once_per_minute")
        ]
        indexes: ClassVar = [models.Index(fields=("minute",), name="public_check_by_age")]
