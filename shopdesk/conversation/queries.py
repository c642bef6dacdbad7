"""What was said, and what waits for an answer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Case, Count, F, Max, Min, Prefetch, Q, QuerySet, Value, When

from shopdesk.commissions.models import Commission, Shot
from shopdesk.commissions.queries import search
from shopdesk.conversation.models import Message, Note, QuickAnswer
from shopdesk.look.said import one_line

AT_ONCE = 30
"""How much of a long conversation a page shows before it is asked for all."""

_UNANSWERED = Q(by_client=True, answered_at=None)
_UNSEEN = Q(by_client=True, seen_at=None)


def messages_of(commission: Commission) -> list[Message]:
    """Everything that was said, oldest first, with its pictures. Two statements."""
    return list(_messages(commission))


def _messages(commission: Commission) -> QuerySet[Message]:
    return (
        Message.objects.filter(commission=commission)
        .select_related("user")
        .prefetch_related(Prefetch("shots", Shot.objects.select_related("picture")))
        .order_by("at", "id")
    )


@dataclass(frozen=True)
class Entry:
    """One thing in the conversation as the desk sees it: a message or, for the owner alone, a note."""

    at: datetime
    message: Message | None = None
    note: Note | None = None


@dataclass(frozen=True)
class Timeline:
    """The conversation at the desk, oldest first: the latest `entries`, and how many there were `before`."""

    entries: list[Entry]
    before: int = 0

    @property
    def messages(self) -> list[Message]:
        return [entry.message for entry in self.entries if entry.message is not None]

    @property
    def seen(self) -> int:
        """The id of the newest message among them, 0 when there is none."""
        return max((message.pk for message in self.messages), default=0)

    @property
    def unseen(self) -> list[int]:
        """The ids of the client's messages that nobody has read yet."""
        return [message.pk for message in self.messages if message.by_client and message.seen_at is None]

    @property
    def waiting(self) -> bool:
        """Whether one of the client's messages waits for an answer."""
        return any(message.by_client and message.answered_at is None for message in self.messages)


def timeline(commission: Commission, most: int | None = None) -> Timeline:
    """Messages and notes together, for the desk alone; with `most`, only so many of the latest and whatever
    still waits for an answer. Three statements, however long it is."""
    messages = _messages(commission).select_related("user", "email")
    entries = [Entry(message.at, message=message) for message in messages]
    entries += [
        Entry(note.at, note=note)
        for note in Note.objects.filter(commission=commission).select_related("user").order_by("at", "id")
    ]
    entries.sort(key=lambda entry: entry.at)
    if most is None or len(entries) <= most:
        return Timeline(entries)
    first = len(entries) - most
    waits = next((place for place, entry in enumerate(entries) if _waits(entry)), first)
    return Timeline(entries[min(first, waits) :], min(first, waits))


def _waits(entry: Entry) -> bool:
    message = entry.message
    return message is not None and message.by_client and message.answered_at is None


def shop_said_last(commission_ids: Iterable[int]) -> set[int]:
    """Of these commissions, those whose last message is the shop's. One statement."""
    rows = Message.objects.filter(commission__in=list(commission_ids)).order_by()
    last = rows.values("commission").annotate(last=Max("id")).values("last")
    return set(Message.objects.filter(pk__in=last, by_client=False).values_list("commission_id", flat=True))


def unanswered(most: int = 50) -> list[Message]:
    """The first unanswered message of each commission that has one, longest waiting first, with commission
    and client."""
    firsts = (
        Message.objects.filter(_UNANSWERED)
        .order_by()
        .values("commission")
        .annotate(first=Min("id"))
        .values("first")
    )
    rows = Message.objects.filter(pk__in=firsts).select_related("commission__client")
    return list(rows.order_by("at", "id")[:most])


def how_many_wait() -> int:
    """How many conversations wait for the owner's word. One statement."""
    return Message.objects.filter(_UNANSWERED).order_by().values("commission").distinct().count()


def conversations(words: str = "") -> QuerySet[Any, Any]:
    """Every conversation, a row each: who waits for an answer, longest waiting first; then what nobody has
    read; then the rest, newest first. With `words`: those of a client, a piece or a number of that name, and
    those in which they were written.

    A row is `commission`, `first` (the id of the first message that waits), `waiting` and `unseen` (how
    many), `last` (the id of the last message) and `group` (0 waits, 1 unread, 2 the rest).
    """
    rows = Message.objects.order_by()
    if words:
        named = search(words).order_by().values("pk")
        wrote = Message.objects.filter(text__icontains=words).order_by().values("commission")
        noted = Note.objects.filter(text__icontains=words).order_by().values("commission")
        rows = rows.filter(Q(commission__in=named) | Q(commission__in=wrote) | Q(commission__in=noted))
    counted = rows.values("commission").annotate(
        first=Min("id", filter=_UNANSWERED),
        since=Min("at", filter=_UNANSWERED),
        waiting=Count("id", filter=_UNANSWERED),
        unseen=Count("id", filter=_UNSEEN),
        last=Max("id"),
    )
    grouped = counted.annotate(
        group=Case(When(waiting__gt=0, then=Value(0)), When(unseen__gt=0, then=Value(1)), default=Value(2))
    )
    return grouped.order_by("group", F("since").asc(nulls_last=True), "-last")


@dataclass(frozen=True)
class Talk:
    """A conversation in the list: `message` is what it waits with or, where nothing waits, its last word."""

    message: Message
    waiting: int
    unseen: int
    group: int

    @property
    def commission(self) -> Commission:
        return self.message.commission

    @property
    def excerpt(self) -> str:
        """The beginning of the message, in one line."""
        return excerpt(self.message.text) or "(pictures)"


def excerpt(text: str, most: int = 140) -> str:
    """The beginning of what somebody wrote, in one line of at most so many characters."""
    text = one_line(text[: 20 * most])
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def talks(rows: Iterable[dict[str, Any]]) -> list[Talk]:
    """These rows of `conversations`, with their messages, commissions, clients and pieces."""
    rows = list(rows)
    shown = [row["first"] or row["last"] for row in rows]
    messages = Message.objects.filter(pk__in=shown).select_related("commission__client", "user")
    by_id = {message.pk: message for message in messages.prefetch_related("commission__pieces")}
    return [
        Talk(by_id[pk], row["waiting"], row["unseen"], row["group"])
        for pk, row in zip(shown, rows, strict=True)
        if pk in by_id
    ]


def quick_answers() -> list[QuickAnswer]:
    return list(QuickAnswer.objects.order_by("title", "id"))
