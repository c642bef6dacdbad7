"""Money fields, append-only rows, running numbers, limits, nudges, proxies."""

from __future__ import annotations

import threading
import time
from datetime import timedelta
from decimal import Decimal
from ipaddress import ip_network
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import DatabaseError, connection, transaction
from django.http import HttpRequest, HttpResponse
from hypothesis import given
from hypothesis import strategies as st

from shopdesk.base import nudge as nudges
from shopdesk.base.appendonly import append_only_models
from shopdesk.base.fields import AmountField
from shopdesk.base.limits import allow
from shopdesk.base.middleware import TrustedProxies, address_of
from shopdesk.base.models import Limit
from shopdesk.base.numbers import next_number
from shopdesk.base.who import THE_SHOP
from shopdesk.commissions.models import Commission, JournalLine
from shopdesk.commissions.stages import write_line


@given(st.decimals(min_value=-(10**14), max_value=10**14, places=4))
def test_an_amount_comes_back_exactly(amount: Decimal) -> None:
    field: Any = AmountField()
    assert field.from_db_value(field.get_prep_value(amount), None, None) == amount


@pytest.mark.parametrize("wrong", [0.1, "0.00001", "NaN", "Infinity", "ten"])
def test_money_is_exact_or_refused(wrong: object) -> None:
    with pytest.raises(ValidationError):
        AmountField().get_prep_value(wrong)


@pytest.mark.django_db
def test_the_journal_cannot_be_changed_by_anybody(commission: Commission) -> None:
    line = write_line(commission, THE_SHOP, "noted", "Noted")
    with pytest.raises(TypeError):
        line.save()
    with pytest.raises(TypeError):
        line.delete()
    with pytest.raises(TypeError):
        JournalLine.objects.update(words="Never happened")
    for model in append_only_models():
        table = model._meta.db_table
        if not model._default_manager.exists():
            continue
        with (
            pytest.raises(DatabaseError, match="append-only"),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(f"UPDATE {table} SET id = id")
    assert JournalLine in set(append_only_models())


@pytest.mark.django_db
def test_numbers_have_no_gaps_after_a_rollback() -> None:
    with transaction.atomic():
        assert next_number("receipt") == 1

    def take_one_and_fail() -> None:
        with transaction.atomic():
            raise ArithmeticError(next_number("receipt"))

    with pytest.raises(ArithmeticError, match="2"):
        take_one_and_fail()
    with transaction.atomic():
        assert next_number("receipt") == 2
        assert next_number("commission") == 1


@pytest.mark.django_db
def test_a_limit_counts_within_its_span_and_begins_again_after_it() -> None:
    hour = timedelta(hours=1)
    assert [allow("requests from here", most=2, span=hour) for _ in range(4)] == [True, True, False, False]
    assert allow("requests from there", most=2, span=hour)
    Limit.objects.filter(name="requests from here").update(
        span_started_at=Limit.objects.get(name="requests from here").span_started_at - hour
    )
    assert allow("requests from here", most=2, span=hour)


def test_a_silent_broker_costs_a_second_at_most_and_one_stuck_nudge_holds_up_no_other(
    monkeypatch: pytest.MonkeyPatch, real_broker: None
) -> None:
    released = threading.Event()

    class Silent:
        def send_task(self, *args: object, **kwargs: object) -> None:
            released.wait(20)

    monkeypatch.setattr("shopdesk.celery.app", Silent())
    began = time.monotonic()
    nudges._send("shopdesk.mail.deliver")
    nudges._send("shopdesk.mail.deliver")
    nudges._send("shopdesk.mail.deliver")
    took = time.monotonic() - began
    released.set()
    assert nudges._busy.acquire(timeout=20), "the stuck one lets go once the broker answers"
    nudges._busy.release()
    assert took < 1.9


def test_a_broker_that_refuses_is_swallowed(monkeypatch: pytest.MonkeyPatch, real_broker: None) -> None:
    class Refusing:
        def send_task(self, *args: object, **kwargs: object) -> None:
            raise ConnectionRefusedError("no broker here")

    monkeypatch.setattr("shopdesk.celery.app", Refusing())
    nudges._send("shopdesk.mail.deliver")
    assert not nudges._busy.locked()


def ask(settings: Any, trusted: list[str], **meta: str) -> HttpRequest:
    settings.TRUSTED_PROXIES = [ip_network(one) for one in trusted]
    request = HttpRequest()
    request.META.update({"REMOTE_ADDR": "10.0.0.9", **meta})
    TrustedProxies(lambda _: HttpResponse())(request)
    return request


def test_forwarded_addresses_are_believed_from_named_proxies_only(settings: Any) -> None:
    forwarded = {"HTTP_X_FORWARDED_FOR": "203.0.113.1, 198.51.100.7, 10.0.0.8"}
    assert address_of(ask(settings, [], **forwarded)) == "10.0.0.9"
    assert address_of(ask(settings, ["10.0.0.9", "10.0.0.8"], **forwarded)) == "198.51.100.7"


@pytest.mark.parametrize(
    ("forwarded", "seen"),
    [
        ("198.51.100.7", "198.51.100.7"),
        ("203.0.113.1, 198.51.100.7, 10.0.3.4", "198.51.100.7"),
        ("198.51.100.7:4711", "198.51.100.7"),
        ("[2001:db8::7]:4711", "2001:db8::7"),
        ("2001:db8::7", "2001:db8::7"),
        ("2001:db8::7%anything", "2001:db8::7"),
        ("::ffff:198.51.100.7", "198.51.100.7"),
        ("198.51.100.7, unknown", "10.0.0.9"),
        ("made up, 10.0.3.4", "10.0.3.4"),
        ("10.0.3.4", "10.0.3.4"),
        ("", "10.0.0.9"),
        (",,", "10.0.0.9"),
        ("x" * 5000, "10.0.0.9"),
    ],
)
def test_a_forwarded_entry_is_an_address_or_nothing(settings: Any, forwarded: str, seen: str) -> None:
    """X-Forwarded-For is common practice without a standard; ports and names are in RFC 7239, section 6."""
    assert address_of(ask(settings, ["10.0.0.0/16"], HTTP_X_FORWARDED_FOR=forwarded)) == seen
    assert address_of(ask(settings, ["192.0.2.0/24"], HTTP_X_FORWARDED_FOR=forwarded)) == "10.0.0.9"
