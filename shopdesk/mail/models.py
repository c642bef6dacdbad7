"""The outbox: every email as a row, written in the transaction that causes it."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import Q

from shopdesk.base.models import Work

IN_LINE = Q(state=Work.State.WAITING, way="email", complete=True, bundle__isnull=True)
"""Emails that go out as soon as they are due. What is done, what is told, what waits for its bytes and what
goes out with another is not among them, however much there is of it."""


class Email(Work):
    """One email to one person, or (`way` = tell) the same words for the owner to pass on to somebody without.

    `kind` names the template and `context` fills it; subject, text and html are empty until the words are
    made for the first try, and are then what went out. Links stand in them as placeholders
    (`shopdesk.mail.links`), so a stored email opens no door."""

    class Way(models.TextChoices):
        EMAIL = "email"
        TELL = "tell"

    class Sort(models.TextChoices):
        """What an email is to its reader: it decides whether they can switch it off and whether it can
        wait."""

        NECESSARY = "necessary"
        ANSWER = "answer"
        NEWS = "news"
        REMINDER = "reminder"

    way = models.CharField(max_length=5, choices=Way, default=Way.EMAIL)
    kind = models.CharField(max_length=40)
    sort = models.CharField(max_length=9, choices=Sort, default=Sort.NECESSARY)
    can_wait = models.BooleanField(default=False)
    """Whether it keeps to the quiet hours, and to the next day where the address has had its one email of the
    day that is neither an answer nor a necessity."""
    context: models.JSONField[dict[str, Any], dict[str, Any]] = models.JSONField(default=dict)
    message_id = models.CharField(max_length=200, unique=True)
    thread = models.CharField(max_length=80, blank=True)
    """Emails of one thread answer each other ("commission 12")."""
    in_reply_to = models.CharField(max_length=200, blank=True)
    references = models.TextField(blank=True)
    to_name = models.CharField(max_length=200, blank=True)
    to_address = models.CharField(max_length=254, blank=True)
    from_name = models.CharField(max_length=200, blank=True)
    from_address = models.CharField(max_length=254)
    reply_to = models.CharField(max_length=254, blank=True)
    """The address with the signed tag that answers go to (`shopdesk.mail.tags`); empty: the sender's own."""
    stop = models.CharField(max_length=200, blank=True)
    """The placeholder of the link that switches its sort off (RFC 8058); empty for what always goes."""
    subject = models.CharField(max_length=300, blank=True)
    text = models.TextField(blank=True)
    html = models.TextField(blank=True)
    worded_at = models.DateTimeField(null=True)
    """When the words were made: the Date of the email, at every try."""
    gather = models.CharField(max_length=80, blank=True)
    """While an email with this key waits, what comes next is added to its context's `items`: no other is
    made."""
    told_at = models.DateTimeField(null=True)
    bundle = models.ForeignKey("self", on_delete=models.SET_NULL, null=True, related_name="bundled")
    """The email that it went out in, together with others."""
    not_needed_at = models.DateTimeField(null=True)
    """When it turned out, before it was handed over, that there was no reason for it any more."""
    came_back_at = models.DateTimeField(null=True)
    """When a bounce said that it did not arrive; `trouble` says why."""
    complete = models.BooleanField(default=True)
    """Whether everything is there that it carries."""
    held_at = models.DateTimeField(null=True)
    """Since when it is kept for a later hour or day, though it was due."""
    put_off_since = models.DateTimeField(null=True)
    """When its mail server first did not take it for now."""

    class Meta(Work.Meta):
        indexes = [
            *Work.Meta.indexes,
            models.Index(fields=["thread", "id"], name="mail_email_thread"),
            models.Index(fields=["-made_at", "-id"], name="mail_email_newest"),
            models.Index(
                fields=["to_address", "state", "done_at"],
                name="mail_email_can_wait",
                condition=Q(can_wait=True),
            ),
            models.Index(fields=["bundle"], name="mail_email_bundle", condition=Q(bundle__isnull=False)),
            # Two, because SQLite finds no `NOT can_wait` in a column of one; with the state in front, because
            # it would rather take the index of all that have it.
            models.Index(
                fields=["state", "due_at", "id"],
                name="mail_email_line",
                condition=IN_LINE & Q(can_wait=False),
            ),
            models.Index(
                fields=["state", "due_at", "id"],
                name="mail_email_line_can_wait",
                condition=IN_LINE & Q(can_wait=True),
            ),
            models.Index(fields=["id"], name="mail_email_incomplete", condition=Q(complete=False)),
            models.Index(
                fields=["-not_needed_at", "-id"],
                name="mail_email_not_needed",
                condition=Q(not_needed_at__isnull=False),
            ),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["gather"],
                condition=~Q(gather="") & Q(state="waiting", tries=0, told_at=None),
                name="one_email_gathers",
            )
        ]

    @property
    def carries(self) -> bool:
        """Whether others may go out in it (`shopdesk.mail.bundles`): news and reminders."""
        return self.can_wait or self.sort == self.Sort.REMINDER


class Enclosure(models.Model):
    """Something an email carries: bytes by ref (`shopdesk.base.blobs`), or `text` written out (a calendar
    file). The email waits until all are `ready`."""

    email = models.ForeignKey(Email, on_delete=models.CASCADE, related_name="enclosures")
    ref = models.CharField(max_length=80, blank=True)
    text = models.TextField(blank=True)
    filename = models.CharField(max_length=120)
    mime = models.CharField(max_length=80)
    """A media type with parameters ("text/calendar; method=REQUEST")."""
    ready = models.BooleanField(default=False)
    cid = models.CharField(max_length=80, blank=True)
    """The Content-ID of a picture that stands within the email (RFC 2392); empty for an attachment."""
    says = models.CharField(max_length=200, blank=True)
    """What a picture shows, for whoever does not see it."""
    width = models.PositiveSmallIntegerField(default=0)
    height = models.PositiveSmallIntegerField(default=0)
    """How large a picture is shown, in CSS pixels; 0 where that is not known."""

    class Meta:
        indexes = [models.Index(fields=["ref"], name="mail_enclosure_unready", condition=Q(ready=False))]


class Turn(models.Model):
    """Whose turn it is to be the one email of a day, on the shop's wall, that somebody gets without asking
    or needing it."""

    address = models.CharField(max_length=254)
    """In lower case."""
    day = models.DateField()
    email = models.OneToOneField(Email, on_delete=models.CASCADE, related_name="turn")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["address", "day"], name="one_email_a_day")]


class Pause(models.Model):
    """The whole line to a mail server stands still: it failed for reasons that no single email has."""

    name = models.CharField(max_length=60, primary_key=True)
    """Whose line: "out"."""
    since = models.DateTimeField()
    until = models.DateTimeField()
    """When one email is tried next."""
    failures = models.PositiveIntegerField(default=0)
    why = models.TextField()


class DeadAddress(models.Model):
    """An address whose mail server said for good that it takes nothing for it. What would be written to it
    is put on the list of what to tell instead."""

    address = models.CharField(max_length=254, unique=True)
    """In lower case."""
    since = models.DateTimeField()
    why = models.TextField()
    email = models.ForeignKey(Email, on_delete=models.SET_NULL, null=True, related_name="+")
    """The one that came back."""


class OwnWords(models.Model):
    """The shop's own words for one kind of email, in place of those in `templates/emails/`."""

    kind = models.CharField(max_length=40, primary_key=True)
    subject = models.CharField(max_length=300)
    body = models.TextField()
    edition = models.PositiveIntegerField(default=1)
    changed_at = models.DateTimeField()


class Mailbox(models.Model):
    """How far a mailbox has been read (RFC 3501: messages have a UID within a UIDVALIDITY), and what stands
    in the way of reading on."""

    name = models.CharField(max_length=200, unique=True)
    """`user@host/INBOX`"""
    uidvalidity = models.BigIntegerField(null=True)
    last_uid = models.BigIntegerField(default=0)
    since = models.DateField(null=True)
    """What came before that day is left alone."""
    tried_uid = models.BigIntegerField(default=0)
    """The message that is being taken in, or could not be."""
    tried = models.PositiveSmallIntegerField(default=0)
    """How often."""
    read_at = models.DateTimeField(null=True)
    """When it was last read to the end."""
    trouble = models.TextField(blank=True)
    trouble_since = models.DateTimeField(null=True)
    failures = models.PositiveIntegerField(default=0)
    next_at = models.DateTimeField(null=True)
    """Not read before: the wait grows while there is trouble."""
    lease_until = models.DateTimeField(null=True)
    """While a worker reads it."""
    full_percent = models.PositiveSmallIntegerField(null=True)
    """How much of its quota is used, where the server says (RFC 9208)."""


class Arrival(Work):
    """One message that was read from the mailbox: kept whole as a file, then looked at once.

    It is done when its `verdict` is there. `path` is relative to `settings.ARRIVALS`."""

    class Verdict(models.TextChoices):
        PLACED = "placed"
        """It stands in a conversation."""
        TRAY = "tray"
        """Nobody but the owner can say where it belongs."""
        BOUNCE = "bounce"
        AUTOMATIC = "automatic"
        """Out of office, a list, a robot."""
        OURS = "ours"
        """The shop's own email, come round."""
        TWICE = "twice"
        """The same message as one before."""
        DROPPED = "dropped"
        """The owner has let it go."""

    mailbox = models.ForeignKey(Mailbox, on_delete=models.PROTECT, null=True, related_name="+")
    uidvalidity = models.BigIntegerField(default=0)
    uid = models.BigIntegerField(default=0)
    path = models.CharField(max_length=200)
    bytes = models.PositiveIntegerField()
    """Of the message; its file has fewer where only the beginning was taken in."""
    sha256 = models.CharField(max_length=64)
    message_id = models.CharField(max_length=300, blank=True)
    from_name = models.CharField(max_length=200, blank=True)
    from_address = models.CharField(max_length=254, blank=True)
    subject = models.CharField(max_length=300, blank=True)
    excerpt = models.TextField(blank=True)
    """The first words of what was written, for the list of what waits to be placed."""
    verdict = models.CharField(max_length=9, choices=Verdict, blank=True)
    why = models.TextField(blank=True)
    """Why it has that verdict, in a sentence for the owner."""
    hint = models.CharField(max_length=80, blank=True)
    """The thread that it may belong to ("commission 12"), where that is a guess."""

    class Meta(Work.Meta):
        indexes = [
            *Work.Meta.indexes,
            models.Index(fields=["verdict", "-made_at"], name="mail_arrival_verdict"),
            models.Index(fields=["message_id"], name="mail_arrival_message"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["mailbox", "uidvalidity", "uid"],
                condition=Q(mailbox__isnull=False),
                name="one_arrival_a_uid",
            )
        ]
