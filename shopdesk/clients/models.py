"""Who a client is, and how they get in."""

from __future__ import annotations

from django.db import models


class Client(models.Model):
    """Somebody who owns pieces. Has an email address or a phone number, or both."""

    name = models.CharField(max_length=120)
    email = models.EmailField(blank=True, db_index=True)
    phone = models.CharField(max_length=40, blank=True, db_index=True)
    address = models.TextField(blank=True)
    since = models.DateTimeField(auto_now_add=True)
    no_news_since = models.DateTimeField(null=True)
    """When they switched off emails about progress."""
    no_reminders_since = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return self.name

    @property
    def address_lines(self) -> list[str]:
        return [line.strip() for line in self.address.splitlines() if line.strip()]


class Grant(models.Model):
    """A client's way in. Their link carries this id and its HMAC with the version; raising the version
    makes every earlier link and every session that came from one worthless."""

    client = models.OneToOneField(Client, on_delete=models.CASCADE, related_name="grant")
    version = models.PositiveIntegerField(default=1)
