"""Copies of pictures for pages: upright, without metadata, made once and kept beside the originals."""

from typing import ClassVar

from django.db import models

from jobs.models.tenancy import TenantModel


class PictureCopy(TenantModel):
    """One copy of the picture whose bytes have ``of_sha256``; its own bytes lie in the store.

    ``use``: ``small`` for lists (long side at least 1008 px where the picture has it), ``large`` for pages of
    its own (at least 2016 px). ``scale``: the picture's sides divided by 1, 2, 4 or 8, exactly what a JPEG
    decoder gives.
    """

    USES: ClassVar = ("small", "large")

    id = models.BigAutoField(primary_key=True)
    of_sha256 = models.CharField(max_length=64)
    use = models.CharField(max_length=5)
    scale = models.PositiveSmallIntegerField()
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    made_at = models.DateTimeField()

    class Meta:
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=("organisation", "of_sha256", "use"), name="picture_copy_once_per_use"
            ),
            models.CheckConstraint(condition=models.Q(use__in=("small", "large")), name="picture_copy_use"),
            models.CheckConstraint(condition=models.Q(scale__in=(1, 2, 4, 8)), name="picture_copy_scale"),
        ]
