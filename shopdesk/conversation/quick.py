r"""Quick answers: short texts of the shop's own, with blanks that are filled in from a commission.

The blanks are those of `commissions.fields`, in the writing of `mail.blanks`. What is put in stands in the
box before it is sent, with its own braces written `\{`, so that the text can be read once more as it is
sent."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import IntegrityError, transaction
from django.utils import timezone

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.fields import all_fields, values_of
from shopdesk.commissions.models import Commission
from shopdesk.conversation.models import QuickAnswer
from shopdesk.mail import blanks

LONGEST = 2000
_GONE = "That quick answer is gone: somebody took it away meanwhile."


class Older(Refused):
    """Somebody kept a newer writing meanwhile."""

    def __init__(self, now: QuickAnswer) -> None:
        super().__init__("Somebody changed this quick answer while you were writing.")
        self.now = now


@dataclass(frozen=True)
class Filled:
    """A text with its blanks filled as far as can be, and a sentence for each that cannot."""

    text: str
    missing: tuple[str, ...]


def filled_for_box(text: str, commission: Commission) -> Filled:
    """The text as it is put into the box: a blank that nothing is known for stays in its braces. Raises
    `Refused` for a text that is broken by now."""
    try:
        parts = blanks.taken_apart(text)
    except blanks.BlankError as error:
        raise Refused(str(error), field="text") from error
    names = [part.name for part in parts if isinstance(part, blanks.Blank)]
    values = values_of(commission, names)
    said = ""
    for part in parts:
        if isinstance(part, blanks.Blank):
            value = values.get(part.name, "")
            said += _literal(value) if value else f"{{{part.name}}}"
        else:
            said += _literal(part)
    return Filled(said, tuple(_why_not(name) for name in dict.fromkeys(names) if not values.get(name)))


def filled(text: str, commission: Commission) -> str:
    """The text as it is sent. Raises `Refused` with what is missing, or wrong, in the owner's words."""
    if "{" not in text:
        return text.replace("\\}", "}")
    try:
        names = blanks.names_in(text)
        _known(names)
        return blanks.fill(text, values_of(commission, names))
    except blanks.Unfilled as error:
        why = " ".join(_why_not(name) for name in error.names)
        raise Refused(
            f"{why} Write it in place of {blanks.said_together(error.names)}.", field="text"
        ) from error
    except blanks.BlankError as error:
        raise Refused(str(error), field="text") from error


def keep(title: str, text: str, who: Who, pk: int | None = None, edition: int = 0) -> QuickAnswer:
    """A new quick answer, or (with `pk`) another writing of the `edition` that was read; raises `Older` when
    that is no longer the newest, and `Refused` for a blank that there is not."""
    title, text = " ".join(title.split()), text.strip()
    _of_the_shop(who)
    if not title:
        raise Refused("Give it a name to find it by.", field="title")
    if not text:
        raise Refused("Write the words first.", field="text")
    if len(text) > LONGEST:
        raise Refused(f"That is {len(text):,} characters; {LONGEST:,} fit.", field="text")
    try:
        _known(blanks.names_in(text))
    except blanks.BlankError as error:
        raise Refused(str(error), field="text") from error
    try:
        with transaction.atomic():
            return _write(title, text, pk, edition)
    except IntegrityError as error:
        raise Refused("There is a quick answer of that name already.", field="title") from error


def _write(title: str, text: str, pk: int | None, edition: int) -> QuickAnswer:
    others = QuickAnswer.objects.exclude(pk=pk) if pk is not None else QuickAnswer.objects.all()
    if any(other.casefold() == title.casefold() for other in others.values_list("title", flat=True)):
        raise Refused("There is a quick answer of that name already.", field="title")
    now = timezone.now()
    if pk is None:
        return QuickAnswer.objects.create(title=title, text=text, changed_at=now)
    changed = QuickAnswer.objects.filter(pk=pk, edition=edition).update(
        title=title, text=text, edition=edition + 1, changed_at=now
    )
    there = QuickAnswer.objects.filter(pk=pk).first()
    if there is None:
        raise Refused(_GONE)
    if not changed:
        raise Older(there)
    return there


@transaction.atomic
def take_away(pk: int, edition: int, who: Who) -> None:
    """Delete it. Raises `Older` when it reads otherwise by now than in the `edition` that was read."""
    _of_the_shop(who)
    if QuickAnswer.objects.filter(pk=pk, edition=edition).delete()[0]:
        return
    there = QuickAnswer.objects.filter(pk=pk).first()
    if there is None:
        raise Refused(_GONE)
    raise Older(there)


def _of_the_shop(who: Who) -> None:
    if not who.is_owner:
        raise Refused("That is the shop's to say.")


def _known(names: tuple[str, ...]) -> None:
    unknown = [name for name in names if name not in all_fields()]
    if unknown:
        listed = ", ".join(f"{{{name}}}" for name in all_fields())
        raise blanks.BlankError(f"{blanks.Unknown(unknown, list(all_fields()))} There are: {listed}.")


def _why_not(name: str) -> str:
    field = all_fields().get(name)
    if field is None:
        return f"There is no field {{{name}}}."
    return field.missing or f"There is nothing to put in for {{{name}}}."


def _literal(words: str) -> str:
    """Words as they have to be written where braces open blanks."""
    return words.replace("{", "\\{")
