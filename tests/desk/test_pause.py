"""What the desk says while no email goes out, of those that wait for an hour or a day, and of those that
turned out not to be needed."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from shopdesk.mail import bundles, pause
from shopdesk.mail.actions import TASK, Person, write
from shopdesk.mail.models import Email, Pause
from shopdesk.shop.models import Shop

pytestmark = pytest.mark.django_db
PAGES = ["desk:today", "desk:emails"]


@pytest.fixture
def emails(shop: Shop) -> list[Email]:
    with transaction.atomic():
        return [
            write(
                "question",
                to=Person("Ottoline Brask", "ottoline@example.com"),
                sender=Person(shop.name, shop.email),
                context={"pieces": piece, "text": "Which handles?", "page": "shopdesk-link:desk/desk/"},
                thread="commission 1",
            )
            for piece in ("desk", "mirror", "chair")
        ]


def stand_still(**since: float) -> None:
    pause.begin("Nothing answers at mail.example.com, port 587. (<Connection refused>)")
    Pause.objects.update(since=timezone.now() - timedelta(**since))


@pytest.mark.parametrize("page", PAGES)
def test_a_line_that_stands_still_is_said_with_a_press(
    desk: Browser,
    emails: list[Email],
    nudged: list[str],
    page: str,
    django_capture_on_commit_callbacks: Any,
) -> None:
    stand_still(minutes=20)
    text = desk.get(reverse(page)).content.decode()
    assert text.count("No email has gone out since") == 1
    assert "port 587. (&lt;Connection refused&gt;)" in text
    assert "3 emails wait" in text
    assert text.count(f'action="{reverse("desk:pause-now")}"') == 1
    nudged.clear()
    with django_capture_on_commit_callbacks(execute=True):
        answer = desk.post(reverse("desk:pause-now"), {"back": reverse(page)})
    assert answer.headers["Location"] == reverse(page)
    assert nudged == [TASK]
    assert Pause.objects.get().until <= timezone.now()
    assert "as soon as a worker looks" in desk.get(reverse(page)).content.decode()


def test_a_moment_without_the_server_is_no_news_for_the_front_page(
    desk: Browser, emails: list[Email]
) -> None:
    stand_still(minutes=1)
    assert "No email has gone out" not in desk.get(reverse("desk:today")).content.decode()
    assert "No email has gone out" in desk.get(reverse("desk:emails")).content.decode()


@pytest.mark.parametrize("page", PAGES)
def test_where_nothing_waits_nothing_stands_still(desk: Browser, shop: Shop, page: str) -> None:
    stand_still(hours=5)
    text = desk.get(reverse(page)).content.decode()
    assert "No email has gone out since" not in text
    assert reverse("desk:pause-now") not in text


def test_what_waits_for_the_morning_says_until_when_and_why(desk: Browser, emails: list[Email]) -> None:
    now = timezone.now()
    held, member, _ = emails
    rows = Email.objects.filter(pk=held.pk)
    rows.update(can_wait=True, due_at=now + timedelta(hours=12), held_at=now, trouble=bundles.ONE_A_DAY)
    Email.objects.filter(pk=member.pk).update(can_wait=True, bundle=held)
    text = desk.get(reverse("desk:emails")).content.decode()
    assert text.count("waits until ") == 1
    assert bundles.ONE_A_DAY in text
    assert f'goes with <a href="{reverse("desk:email", args=[held.pk])}">another</a>' in text
    assert "It waits until " in desk.get(reverse("desk:email", args=[held.pk])).content.decode()
    assert "in <a href=" in desk.get(reverse("desk:email", args=[member.pk])).content.decode()


def test_what_was_not_needed_stands_apart_from_what_went_out(desk: Browser, emails: list[Email]) -> None:
    now = timezone.now()
    idle, carrier, member = emails
    Email.objects.filter(pk=idle.pk).update(state="done", done_at=now, not_needed_at=now)
    Email.objects.filter(pk=carrier.pk).update(state="done", done_at=now, worded_at=now, subject="Two words")
    Email.objects.filter(pk=member.pk).update(state="done", done_at=now, bundle=carrier)
    text = desk.get(reverse("desk:emails")).content.decode()
    gone, apart = text.split('id="sent"')[1].split('id="not-needed"')
    assert reverse("desk:email", args=[idle.pk]) not in gone
    assert reverse("desk:email", args=[idle.pk]) in apart
    assert "was not sent" in desk.get(reverse("desk:email", args=[idle.pk])).content.decode()
    assert "together with others" in desk.get(reverse("desk:email", args=[member.pk])).content.decode()
