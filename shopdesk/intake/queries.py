"""Drafts looked up, and by when a request is answered."""

from __future__ import annotations

import uuid
from datetime import date, timedelta

from shopdesk.intake.models import Draft, DraftPicture
from shopdesk.shop.models import DifferentDay, Shop

_LOOK_AHEAD = timedelta(days=400)
_SATURDAY = 5


def draft_of(key: uuid.UUID) -> Draft | None:
    """A draft with the commission it became, if it was sent."""
    return Draft.objects.select_related("commission__client").filter(key=key).first()


def pictures_of(key: uuid.UUID) -> list[DraftPicture]:
    """The pictures of the draft with that key, in order, with their renditions."""
    held = DraftPicture.objects.filter(draft__key=key).select_related("picture")
    return list(held.prefetch_related("picture__renditions"))


def picture_of(draft_key: uuid.UUID, picture_key: uuid.UUID) -> DraftPicture | None:
    return (
        DraftPicture.objects.filter(draft__key=draft_key, picture__key=picture_key)
        .select_related("picture")
        .first()
    )


def answer_by(shop: Shop, asked_on: date) -> date:
    """The day by which a request of that day is answered: `shop.answer_in_days` working days on. Working
    days are Monday to Friday (common practice, no source) less the days on which the shop is closed."""
    closed = set(
        DifferentDay.objects.filter(
            day__gt=asked_on, day__lte=asked_on + _LOOK_AHEAD, opens=None
        ).values_list("day", flat=True)
    )
    day, left = asked_on, shop.answer_in_days
    while left and day < asked_on + _LOOK_AHEAD:
        day += timedelta(days=1)
        if day.weekday() < _SATURDAY and day not in closed:
            left -= 1
    return day
