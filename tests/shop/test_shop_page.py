"""The shop's own facts and its hours, changed later."""

from __future__ import annotations

from datetime import time, timedelta
from decimal import Decimal

import pytest
from django.test import Client as Browser
from django.urls import reverse

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.craft.slots import DayException, Window
from shopdesk.shop import actions, queries
from shopdesk.shop.forms import ShopForm
from shopdesk.shop.hours import parse_hours, show_hours
from shopdesk.shop.models import DifferentDay, Shop
from shopdesk.shop.places import LOCALES, likely, zones
from shopdesk.shop.queries import the_shop, today_at

pytestmark = pytest.mark.django_db
HOURS = reverse("desk:openings")


def as_typed(browser: Browser) -> dict[str, str]:
    """What a browser would send back from the page as it stands."""
    form = browser.get(reverse("desk:shop")).context["form"]
    values = {name: form[name].value() for name in form.fields}
    return {
        name: "on" if value is True else str(value)
        for name, value in values.items()
        if value not in (None, False)
    }


def test_the_page_sent_back_unchanged_changes_nothing(desk: Browser, shop: Shop) -> None:
    before = Shop.objects.values().get()
    answer = desk.post(reverse("desk:shop"), as_typed(desk))
    assert answer.status_code == 302
    assert Shop.objects.values().get() == before


def test_what_is_changed_is_kept(desk: Browser, shop: Shop) -> None:
    typed = as_typed(desk) | {
        "name": "Tidewell & Daughter",
        "tax_rate": "7,5",
        "deposit_share": "",
        "show_lines": "on",
        "zone": "Asia/Kolkata",
        "slot_minutes": "60",
    }
    page = desk.post(reverse("desk:shop"), typed, follow=True)
    assert "Tidewell &amp; Daughter" in page.content.decode()
    kept = Shop.objects.get()
    assert (kept.tax_rate, kept.deposit_share, kept.show_lines, kept.slot_minutes) == (
        Decimal("7.5"),
        Decimal(0),
        True,
        60,
    )
    assert kept.tz.key == "Asia/Kolkata"


def test_a_wrong_field_keeps_the_rest(desk: Browser, shop: Shop) -> None:
    answer = desk.post(reverse("desk:shop"), as_typed(desk) | {"email": "hello", "tagline": "Typed just now"})
    assert answer.status_code == 422
    assert "Typed just now" in answer.content.decode()
    assert Shop.objects.get().tagline != "Typed just now"


def test_a_currency_that_is_out_of_use_stays_a_choice_for_who_has_it(shop: Shop) -> None:
    kept = {"currency": "HRK", "zone": "UTC", "locale": "eo"}
    form = ShopForm(initial=kept)
    for name, value in kept.items():
        assert f'<option value="{value}" selected>' in str(form[name])
    assert 'value="HRK"' not in str(ShopForm(initial={"currency": "EUR"})["currency"])


def test_only_the_owner_changes_the_shop(shop: Shop, as_client: Who) -> None:
    day = today_at(the_shop()) + timedelta(days=9)
    for change in (
        lambda: actions.change_shop({"name": "Mine"}, as_client),
        lambda: actions.set_week([], as_client),
        lambda: actions.set_different_day(day, [], as_client),
        lambda: actions.usual_day(day, as_client),
    ):
        with pytest.raises(Refused):
            change()
    assert Shop.objects.get().name == "Tidewell Bench"
    assert len(queries.windows()) == 5


# -- hours ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "shown"),
    [
        ("9:00–12:00, 13:00–17:00", "9:00–12:00, 13:00–17:00"),
        ("9-12 and 13-17", "9:00–12:00, 13:00–17:00"),
        ("13-17; 9-12", "9:00–12:00, 13:00–17:00"),
        ("9am to 5 pm", "9:00–17:00"),
        ("12 pm - 1:15 p.m.", "12:00–13:15"),
        ("12am-1am", "0:00–1:00"),
        ("8.30 until 12", "8:30–12:00"),
        ("18-24:00", "18:00–24:00"),
        ("18-0:00", "18:00–24:00"),
        ("9–12,12–15", "9:00–12:00, 12:00–15:00"),
        ("", ""),
        ("  Closed ", ""),
        ("٩-١٢", "9:00–12:00"),
    ],
)
def test_hours_as_people_write_them(typed: str, shown: str) -> None:
    spans = parse_hours(typed)
    assert show_hours(spans) == shown
    assert parse_hours(shown) == spans


@pytest.mark.parametrize(
    "typed",
    ["9", "9-", "nine to five", "25-26", "9:60-10", "9-24:15", "24-25", "12-9", "9-9", "0-0:00am", "13pm-2pm",
     "9-12, 11-13", "9:07-12", "18-24, 23-24",
     "9-12 13-17", "1-2,3-4,5-6,7-8,9-10,11-12,13-14", "-5-9", "9 until"],
)  # fmt: skip
def test_hours_nobody_can_keep(typed: str) -> None:
    with pytest.raises(ValueError, match=r"\w.*\.$"):
        parse_hours(typed)


def test_the_week_is_kept_and_shown_again(desk: Browser, shop: Shop) -> None:
    page = desk.get(HOURS).context["week"]
    assert page["hours_0"].value() == "9:00–17:00"
    assert page["hours_6"].value() == ""
    answer = desk.post(HOURS, {"press": "week", "hours_1": "9-12, 13-24:00", "hours_6": "10-11"})
    assert answer.status_code == 302
    assert queries.windows() == [
        Window(1, time(9), time(12)),
        Window(1, time(13), time(0)),
        Window(6, time(10), time(11)),
    ]
    assert desk.get(HOURS).context["week"]["hours_1"].value() == "9:00–12:00, 13:00–24:00"


def test_a_wrong_week_changes_nothing(desk: Browser, shop: Shop) -> None:
    answer = desk.post(HOURS, {"press": "week", "hours_1": "9-12, 11-13", "hours_2": "10-11"})
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "overlap" in text
    assert 'value="10-11"' in text
    assert len(queries.windows()) == 5


def test_a_day_is_closed_opened_and_usual_again(desk: Browser, shop: Shop) -> None:
    today = today_at(shop)
    day = today + timedelta(days=20)

    def send(**typed: str) -> int:
        return desk.post(HOURS, {"day": day.isoformat(), **typed}).status_code

    assert send(press="day", hours="", note="The fair") == 302
    assert queries.exceptions(today) == [DayException(day)]
    assert "The fair" in desk.get(HOURS).content.decode()
    assert send(press="day", hours="10-12, 14-16") == 302
    assert queries.exceptions(today) == [DayException(day, ((time(10), time(12)), (time(14), time(16))))]
    assert queries.exceptions(day + timedelta(days=1)) == []
    assert send(press="usual") == 302
    assert not DifferentDay.objects.exists()
    assert (
        "usual hours already"
        in desk.post(HOURS, {"press": "usual", "day": day.isoformat()}, follow=True).content.decode()
    )


@pytest.mark.parametrize("day", ["", "soon", "2026-02-30", "2020-01-01"])
def test_a_day_that_is_none_or_over(desk: Browser, shop: Shop, day: str) -> None:
    assert desk.post(HOURS, {"press": "day", "day": day, "hours": ""}).status_code == 422
    assert (
        "Say which day" in desk.post(HOURS, {"press": "usual", "day": "soon"}, follow=True).content.decode()
    )
    assert not DifferentDay.objects.exists()


# -- places --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "locale", "currency", "units", "paper", "zone"),
    [
        ("en-US,en;q=0.9", "en_US", "USD", "in", "Letter", ""),
        ("fr-CA", "fr_CA", "CAD", "cm", "Letter", ""),
        ("fr", "fr_FR", "EUR", "cm", "A4", "Europe/Paris"),
        ("xx, sv-SE;q=0.5", "sv_SE", "SEK", "cm", "A4", "Europe/Stockholm"),
        ("", "en_US", "USD", "in", "Letter", ""),
        ("*;q=nonsense,,,", "en_US", "USD", "in", "Letter", ""),
    ],
)
def test_the_browser_suggests_where_the_shop_is(
    header: str, locale: str, currency: str, units: str, paper: str, zone: str
) -> None:
    guess = likely(header)
    assert (guess.locale, guess.currency, guess.units, guess.paper, guess.zone) == (
        locale,
        currency,
        units,
        paper,
        zone,
    )


def test_zones_are_places() -> None:
    assert {"America/New_York", "Europe/Berlin", "Asia/Kolkata", "America/Argentina/Ushuaia"} <= zones()
    assert not {"UTC", "EST5EDT", "Etc/GMT+5", "US/Eastern"} & zones()


def test_every_way_of_writing_has_its_own_money() -> None:
    assert all(likely(name.replace("_", "-")).locale == name for name in LOCALES)


def test_an_account_number_is_checked_and_shown_in_groups(desk: Browser, shop: Shop) -> None:
    """The IBAN is the example of the SWIFT IBAN registry for Germany."""
    typed = as_typed(desk) | {"bank_name": "Hafenbank", "iban": "de89 3704 0044 0532 0130 01"}
    answer = desk.post(reverse("desk:shop"), typed)
    assert answer.status_code == 422
    assert "check digits" in answer.content.decode()
    assert "de89 3704 0044 0532 0130 01" in answer.content.decode()
    typed |= {"iban": "de89 3704-0044 0532 0130 00", "bic": "cobadeff xxx", "charges_vat": "on"}
    assert desk.post(reverse("desk:shop"), typed).status_code == 302
    kept = Shop.objects.get()
    assert (kept.iban, kept.bic, kept.bank_name, kept.charges_vat) == (
        "DE89370400440532013000", "COBADEFFXXX", "Hafenbank", True,
    )  # fmt: skip
    assert "DE89 3704 0044 0532 0130 00" in desk.get(reverse("desk:shop")).content.decode()
    before = Shop.objects.values().get()
    assert desk.post(reverse("desk:shop"), as_typed(desk)).status_code == 302
    assert Shop.objects.values().get() == before


def test_how_to_transfer_money_may_be_words(desk: Browser, shop: Shop) -> None:
    typed = as_typed(desk) | {"bank_words": "Routing 021000021\nAccount 000123"}
    assert desk.post(reverse("desk:shop"), typed).status_code == 302
    assert Shop.objects.get().bank_words.splitlines() == ["Routing 021000021", "Account 000123"]
    typed |= {"bic": "NOTABIC"}
    assert "A BIC has 8 or 11" in desk.post(reverse("desk:shop"), typed).content.decode()
