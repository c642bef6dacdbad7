"""A picture and two lines."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.mail import EmailMessage
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from PIL import Image

from shopdesk.base.refusals import Refused
from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, Stage
from shopdesk.mail.message import Letter
from shopdesk.mail.models import Email
from shopdesk.photos.actions import take_in
from shopdesk.progress import actions
from shopdesk.progress.queries import updates_of
from tests.conftest import MakePicture

pytestmark = pytest.mark.django_db


@pytest.fixture
def on_the_bench(commission: Commission) -> Commission:
    Commission.objects.filter(pk=commission.pk).update(stage=Stage.IN_WORK)
    commission.refresh_from_db()
    return commission


def test_several_within_ten_minutes_go_out_as_one_email(
    on_the_bench: Commission,
    as_owner: Who,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
    picture_file: MakePicture,
) -> None:
    large = picture_file(size=(1600, 1200))
    actions.show(on_the_bench, "Stripped.", as_owner, [take_in(large, "a.jpg")])
    actions.show(on_the_bench, "The veneer holds.", as_owner)
    work()
    assert [mail for mail in mailbox if "From the bench" in mail.subject] == []
    Email.objects.filter(kind="progress").update(due_at=timezone.now() - timedelta(seconds=1))
    work()
    (mail,) = [mail for mail in mailbox if "From the bench" in mail.subject]
    assert "Stripped.\n\nThe veneer holds.\n" in mail.body
    assert "[Picture: Stripped.]" in mail.body
    assert isinstance(mail, Letter)
    ((row, shown),) = mail.pictures
    assert (row.width, row.height) == (564, 423)
    with Image.open(io.BytesIO(shown.data)) as picture:
        assert (picture.format, picture.size) == ("JPEG", (800, 600))
    actions.show(on_the_bench, "First coat.", as_owner)
    assert Email.objects.filter(kind="progress").count() == 2


def test_the_clients_page_shows_it_at_once(
    on_the_bench: Commission, desk: Browser, portal: Browser, picture_file: MakePicture
) -> None:
    page = reverse("desk:progress", args=[on_the_bench.number])
    answer = desk.post(page, {"text": "Sanded to 220.", "photos": [picture_file(), picture_file("b.jpg")]})
    assert answer.status_code == 302
    shown = portal.get(reverse("portal:commission", args=[on_the_bench.number])).content.decode()
    assert "Sanded to 220." in shown
    assert "being prepared" in shown
    (update,) = updates_of(on_the_bench)
    assert update.shots.count() == 2


def test_a_final_picture_is_what_ready_waits_for(
    on_the_bench: Commission, as_owner: Who, picture_file: MakePicture
) -> None:
    with pytest.raises(Refused, match="finished piece"):
        actions.show(on_the_bench, "Done", as_owner, finished=True)
    actions.show(on_the_bench, "Done", as_owner, [take_in(picture_file(), "a.jpg")], finished=True)
    on_the_bench.refresh_from_db()
    assert on_the_bench.final_shot_at is not None


def test_nothing_at_all_and_far_too_much_are_refused(
    on_the_bench: Commission, as_owner: Who, desk: Browser
) -> None:
    page = reverse("desk:progress", args=[on_the_bench.number])
    assert desk.post(page, {"text": "  "}).status_code == 422
    long = desk.post(page, {"text": "word " * 400})
    assert long.status_code == 422
    assert "word word" in long.content.decode()
    assert updates_of(on_the_bench) == []


def test_a_bad_picture_keeps_the_words_and_the_good_picture(
    on_the_bench: Commission, desk: Browser, picture_file: MakePicture
) -> None:
    bad = SimpleUploadedFile("notes.jpg", b"just text, and no picture at all " * 40)
    page = reverse("desk:progress", args=[on_the_bench.number])
    answer = desk.post(page, {"text": "Two lines that I typed.", "photos": [picture_file("good.jpg"), bad]})
    assert answer.status_code == 422
    words = answer.content.decode()
    assert "notes.jpg" in words
    assert "Two lines that I typed." in words
    assert "photos-kept" in words
