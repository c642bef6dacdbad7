"""What every room needs: work to do as rows, keys that make a second press harmless, counts and numbers."""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta

from django.db import models
from django.utils import timezone


class Work(models.Model):
    """Work to do is a row. `shopdesk.base.work` claims it, does it and marks it done.

    `due_at` is the earliest moment to try. While somebody works on it, `lease` names the attempt and
    `lease_until` says when it counts as abandoned.
    """

    class State(models.TextChoices):
        WAITING = "waiting"
        UNDER_WAY = "under way"
        DONE = "done"
        FAILED = "failed"

    state = models.CharField(max_length=12, choices=State, default=State.WAITING)
    due_at = models.DateTimeField(default=timezone.now)
    lease = models.UUIDField(null=True, editable=False)
    lease_until = models.DateTimeField(null=True, editable=False)
    tries = models.PositiveIntegerField(default=0)
    trouble = models.TextField(blank=True)
    """What went wrong at the last try, in words for the owner."""
    made_at = models.DateTimeField(default=timezone.now, editable=False)
    done_at = models.DateTimeField(null=True)

    class Meta:
        abstract = True
        indexes = [models.Index(fields=["state", "due_at"], name="%(app_label)s_%(class)s_todo")]


class Submission(models.Model):
    """One press of one form. The same key twice is one change; `landing` is where both presses end up."""

    key = models.UUIDField(primary_key=True, default=uuid.uuid4)
    landing = models.TextField(blank=True)
    made_at = models.DateTimeField(default=timezone.now)


class Counter(models.Model):
    """A running number without gaps: it is taken in the transaction that uses it, so a rollback gives it
    back."""

    name = models.CharField(max_length=60, primary_key=True)
    last = models.PositiveIntegerField(default=0)


class Limit(models.Model):
    """How often something happened in the current span of time, counted by a guarded update."""

    name = models.CharField(max_length=120, primary_key=True)
    count = models.PositiveIntegerField(default=0)
    span_started_at = models.DateTimeField()


class Heartbeat(models.Model):
    """When a worker last said that it is alive."""

    name = models.CharField(max_length=60, primary_key=True)
    seen_at = models.DateTimeField()

    STALE = timedelta(minutes=3)

    def is_stale(self, now: datetime) -> bool:
        return now - self.seen_at > self.STALE
