"""Pictures: the private original, and the sized WebP renditions that pages and documents show."""

from __future__ import annotations

import uuid

from django.db import models

from shopdesk.base.models import Work


class Picture(Work):
    """One picture that somebody sent, being prepared until its state is done.

    `key` stands in addresses. Width and height are of the picture turned upright. Paths are relative to
    `settings.PICTURES`.
    """

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    original_name = models.CharField(max_length=200, blank=True)
    original_path = models.CharField(max_length=200)
    original_bytes = models.PositiveIntegerField()
    original_sha256 = models.CharField(max_length=64)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()

    class Meta(Work.Meta):
        pass

    @property
    def prepared(self) -> bool:
        return self.state == self.State.DONE


class Rendition(models.Model):
    """A picture at one size ("small", "medium", "large"): sRGB WebP without metadata."""

    picture = models.ForeignKey(Picture, on_delete=models.CASCADE, related_name="renditions")
    size = models.CharField(max_length=10)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    bytes = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    path = models.CharField(max_length=200)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["picture", "size"], name="one_rendition_a_size")]
