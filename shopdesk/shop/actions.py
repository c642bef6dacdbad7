"""Setting up the shop, and changing what it says about itself."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from datetime import date, time
from decimal import Decimal
from typing import Literal, TypedDict

from django.contrib.auth.hashers import check_password, make_password
from django.db import IntegrityError, transaction

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.craft.slots import Window
from shopdesk.mail.actions import Person, change_sender
from shopdesk.shop.models import DifferentDay, OpeningWindow, SetupCode, Shop, User
from shopdesk.shop.queries import the_shop, today_at

_LETTERS = "abcdefghjkmnpqrstuvwxyz"
"""Without those that are taken for a digit."""


class ShopFacts(TypedDict, total=False):
    """What can be said of the shop: the columns of `Shop`. Rates and shares in percent; `zone` an IANA name,
    `currency` an ISO 4217 code, `locale` a Babel identifier; `included` and `not_included` one a line."""

    name: str
    tagline: str
    address: str
    email: str
    phone: str
    tax_number: str
    zone: str
    currency: str
    locale: str
    units: Literal["in", "cm"]
    paper: Literal["A4", "Letter"]
    tax_name: str
    tax_rate: Decimal
    tax_basis: Literal["item", "invoice"]
    tax_labour: bool
    charges_vat: bool
    bank_name: str
    bank_holder: str
    iban: str
    bic: str
    bank_words: str
    deposit_share: Decimal
    terms: str
    included: str
    not_included: str
    show_lines: bool
    good_for_days: int
    remind_days: int
    answer_in_days: int
    slot_minutes: int
    notice_hours: int
    book_days_ahead: int
    quiet_from: time
    quiet_until: time


@transaction.atomic
def new_setup_code() -> str:
    """A fresh one-time code ("ktwm-qbde") to print for whoever sets the shop up; earlier ones are worthless
    from now on."""
    code = "-".join("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(2))
    SetupCode.objects.all().delete()
    SetupCode.objects.create(code_hash=make_password(code))
    return code


@transaction.atomic
def set_up_with_code(
    code: str, *, owner: str, login: str, password: str, hours: Sequence[Window], facts: ShopFacts
) -> User:
    """`set_up` by whoever holds the code, which is used up. Count the tries (`base.limits`) before calling
    this."""
    _not_yet()
    plain = "".join(char for char in code.lower() if char.isalpha())
    kept = SetupCode.objects.first()
    if kept is None or not check_password(f"{plain[:4]}-{plain[4:]}", kept.code_hash):
        raise Refused(
            "That is not the code. It stands in the terminal in which the shop was started.", field="code"
        )
    SetupCode.objects.all().delete()
    return set_up(owner=owner, login=login, password=password, hours=hours, facts=facts)


@transaction.atomic
def set_up(*, owner: str, login: str, password: str, hours: Sequence[Window], facts: ShopFacts) -> User:
    """Make the one shop, its hours and its owner, who signs in with the email address `login`. Raises
    `Refused` when there is a shop already, also when somebody else makes it in the same moment."""
    _not_yet()
    if User.objects.filter(email__iexact=login).exists():
        raise Refused("Somebody signs in with that address already.", field="login")
    try:
        with transaction.atomic():
            Shop.objects.create(id=1, **facts)
    except IntegrityError as error:
        if Shop.objects.exists():
            raise Refused(_THERE) from error
        raise
    _write_week(hours)
    return User.objects.create_user(login, owner.strip(), password)


_THERE = "This shop has been set up by now. Sign in to go on."


def _not_yet() -> None:
    if Shop.objects.exists():
        raise Refused(_THERE)


@transaction.atomic
def change_shop(facts: ShopFacts, who: Who) -> Shop:
    """Write down what has changed. What was sent before keeps the words and the currency it went out with;
    emails that have not gone out are from the shop's new name and address."""
    _owner_only(who)
    before = the_shop()
    Shop.objects.filter(pk=before.pk).update(**facts)
    shop = the_shop()
    if (shop.name, shop.email) != (before.name, before.email):
        change_sender(Person(shop.name, shop.email))
    return shop


@transaction.atomic
def set_week(hours: Sequence[Window], who: Who) -> None:
    """The hours of every week, in place of those before. Visits that are booked stay booked."""
    _owner_only(who)
    Shop.objects.select_for_update().get(pk=the_shop().pk)
    _write_week(hours)


def _write_week(hours: Sequence[Window]) -> None:
    OpeningWindow.objects.all().delete()
    OpeningWindow.objects.bulk_create(
        OpeningWindow(weekday=window.weekday, opens=window.opens, closes=window.closes) for window in hours
    )


@transaction.atomic
def set_different_day(day: date, spans: Sequence[tuple[time, time]], who: Who, *, note: str = "") -> None:
    """Other hours on one date, or (no spans) none, in place of what was said of that date before. Visits that
    are booked stay booked."""
    _owner_only(who)
    shop = Shop.objects.select_for_update().get(pk=the_shop().pk)
    if day < today_at(shop):
        raise Refused("That day is over.", field="day")
    DifferentDay.objects.filter(day=day).delete()
    if spans:
        DifferentDay.objects.bulk_create(
            DifferentDay(day=day, opens=opens, closes=closes, note=note) for opens, closes in spans
        )
    else:
        DifferentDay.objects.create(day=day, note=note)


@transaction.atomic
def usual_day(day: date, who: Who) -> None:
    """A date keeps its weekday's hours after all."""
    _owner_only(who)
    if not DifferentDay.objects.filter(day=day).delete()[0]:
        raise Refused("That day has its usual hours already.")


def _owner_only(who: Who) -> None:
    if not who.is_owner:
        raise Refused("That is the shop's to say.")
