"""Documents: content frozen by an action, rendered to PDF by a worker, kept with its hash and never changed
after."""

from __future__ import annotations

import uuid
from typing import Any

from django.db import models

from shopdesk.base.models import Work


class Document(Work):
    """One PDF. `template` and `content` (plain strings, lists and dicts) are all that it is made of: same
    content, same bytes.

    `path` is relative to `settings.DOCUMENTS`; `sha256` and `bytes` are of the file as it was sent and will
    be served.
    """

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    template = models.CharField(max_length=80)
    title = models.CharField(max_length=200)
    filename = models.CharField(max_length=120)
    content: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField()
    dated_on = models.DateField()
    path = models.CharField(max_length=200, blank=True)
    sha256 = models.CharField(max_length=64, blank=True)
    bytes = models.PositiveIntegerField(default=0)
    pages = models.PositiveIntegerField(default=0)

    class Meta(Work.Meta):
        pass

    @property
    def ref(self) -> str:
        """The name under which others fetch the bytes (`shopdesk.base.blobs`)."""
        return f"documents:{self.pk}"
