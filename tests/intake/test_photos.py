"""Pictures of a request: each sent and judged on its own, kept in the draft, shown to nobody else."""

from __future__ import annotations

import errno
import re
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client as Browser

from shopdesk.base import files
from shopdesk.base.refusals import Refused
from shopdesk.commissions.models import Commission, Shot
from shopdesk.intake import actions
from shopdesk.intake.models import MOST_PICTURES, Draft, DraftPicture
from shopdesk.photos.models import Picture
from shopdesk.shop.models import Shop
from tests.conftest import MakePicture
from tests.intake.conftest import ASKED, Visitor
from tests.photos import heic

pytestmark = pytest.mark.django_db


def send_photo(visitor: Visitor, upload: Any) -> Any:
    return visitor.browser.post("/request/photos/", {"photo": upload}, headers={"accept": "application/json"})


def not_a_picture(name: str = "notes.jpg") -> SimpleUploadedFile:
    return SimpleUploadedFile(name, b"Dear workshop, " * 100, content_type="image/jpeg")


def test_one_picture_and_a_wish_are_enough(visitor: Visitor, picture_file: MakePicture) -> None:
    answer = send_photo(visitor, picture_file("front.jpg"))
    assert answer.status_code == 200
    held = DraftPicture.objects.get()
    assert answer.json() == {
        "ok": True,
        "id": str(held.picture.key),
        "remove_url": f"/request/photos/{held.picture.key}/away/",
    }
    assert visitor.send(**{"piece0-name": ""}).status_code == 302
    commission = Commission.objects.get()
    shot = Shot.objects.get()
    assert (shot.commission, shot.picture, shot.kind, shot.for_client) == (
        commission,
        held.picture,
        "request",
        True,
    )
    assert commission.pieces.get().name == "piece"
    assert not DraftPicture.objects.exists()


@pytest.mark.parametrize(("name", "fmt"), [("a.jpg", "JPEG"), ("a.png", "PNG"), ("a.webp", "WEBP")])
def test_formats(visitor: Visitor, picture_file: MakePicture, name: str, fmt: str) -> None:
    assert send_photo(visitor, picture_file(name, (80, 60), fmt)).json()["ok"] is True


def test_heic_straight_from_a_phone(visitor: Visitor, work: Callable[[], None]) -> None:
    upload = SimpleUploadedFile("IMG_0012.HEIC", heic.TURNED, content_type="image/heic")
    answer = send_photo(visitor, upload)
    assert answer.json()["ok"] is True
    work()
    shown = visitor.browser.get(f"/request/photos/{answer.json()['id']}/small.webp")
    assert (shown.status_code, shown["Content-Type"]) == (200, "image/webp")


def test_what_is_no_picture_is_refused_by_name(visitor: Visitor) -> None:
    answer = send_photo(visitor, not_a_picture("holiday.jpg"))
    assert answer.status_code == 422
    assert answer.json()["ok"] is False
    assert "holiday.jpg" in answer.json()["message"]
    assert not Picture.objects.exists()
    assert visitor.browser.post("/request/photos/").json() == {"ok": False, "message": "No picture arrived."}


def test_a_full_disk_is_said_and_no_row_points_at_nothing(
    visitor: Visitor, picture_file: MakePicture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(path: Path, data: bytes) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(files, "put", full)
    answer = send_photo(visitor, picture_file("front.jpg"))
    assert answer.status_code == 422
    assert "no room left to keep “front.jpg”" in answer.json()["message"]
    assert not Picture.objects.exists()
    assert not DraftPicture.objects.exists()
    page = visitor.send(photos=[picture_file("side.jpg")])
    assert page.status_code == 422
    assert "no room left to keep “side.jpg”" in page.content.decode()
    monkeypatch.undo()
    assert visitor.send().status_code == 302


def test_a_text_file_of_thirty_megabytes_is_refused_and_the_form_is_kept(
    visitor: Visitor, picture_file: MakePicture
) -> None:
    big = SimpleUploadedFile("big.jpg", b"all work and no play " * 1_500_000, content_type="image/jpeg")
    answer = visitor.send(photos=[big, picture_file("good.jpg")])
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "big.jpg" in page
    assert 'value="walnut bureau"' in page
    assert DraftPicture.objects.get().picture.original_name == "good.jpg"


def test_without_a_script_good_ones_are_kept_beside_a_bad_one(
    visitor: Visitor, picture_file: MakePicture
) -> None:
    answer = visitor.send(
        photos=[picture_file("one.jpg"), not_a_picture(), picture_file("two.png", (20, 20), "PNG")]
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert page.count('class="shot"') == 2
    assert "“notes.jpg” is not a picture" in page
    assert page.count("autofocus") == 1
    assert re.search(r'id="photos"[^>]*autofocus', page)
    assert visitor.open().count('class="shot"') == 2
    assert visitor.send(photos=[picture_file("three.jpg")]).status_code == 302
    assert [shot.picture.original_name for shot in Shot.objects.order_by("id")] == [
        "one.jpg",
        "two.png",
        "three.jpg",
    ]


def test_without_a_script_they_are_kept_beside_a_wrong_field(
    visitor: Visitor, picture_file: MakePicture
) -> None:
    assert visitor.send(email="nobody", photos=[picture_file("one.jpg")]).status_code == 422
    assert 'class="shot"' in visitor.open()
    assert visitor.send().status_code == 302
    assert Shot.objects.get().picture.original_name == "one.jpg"


def test_without_a_script_they_are_kept_when_a_piece_is_added(
    visitor: Visitor, picture_file: MakePicture
) -> None:
    answer = visitor.send(press="another", photos=[picture_file("one.jpg"), not_a_picture()])
    assert answer.status_code == 302
    page = visitor.open()
    assert page.count('class="shot"') == 1
    assert "“notes.jpg” is not a picture" in page


def test_the_twenty_first(visitor: Visitor, picture_file: MakePicture) -> None:
    for number in range(MOST_PICTURES):
        assert send_photo(visitor, picture_file(f"{number}.jpg", (8, 6))).json()["ok"]
    answer = send_photo(visitor, picture_file("last.jpg", (8, 6)))
    assert answer.status_code == 422
    assert (
        answer.json()["message"]
        == "20 pictures are the most we can take with a request; “last.jpg” did not fit."
    )
    page = visitor.send(photos=[picture_file("late.jpg", (8, 6))]).content.decode()
    assert "“late.jpg” did not fit" in page
    assert page.count('class="shot"') == 20
    assert Picture.objects.count() == 20
    first = DraftPicture.objects.order_by("place")[3]
    visitor.browser.post(f"/request/photos/{first.picture.key}/away/")
    assert send_photo(visitor, picture_file("last.jpg", (8, 6))).json()["ok"]
    assert DraftPicture.objects.get(picture__original_name="last.jpg").place == 3
    assert visitor.send().status_code == 302
    assert Shot.objects.count() == 20


def test_twenty_one_with_the_form(visitor: Visitor, picture_file: MakePicture) -> None:
    answer = visitor.send(photos=[picture_file(f"{number}.jpg", (8, 6)) for number in range(21)])
    assert answer.status_code == 422
    assert "“20.jpg” did not fit" in answer.content.decode()
    assert DraftPicture.objects.count() == 20


def test_taking_one_away(visitor: Visitor, picture_file: MakePicture) -> None:
    key = send_photo(visitor, picture_file()).json()["id"]
    page = visitor.open()
    assert f'data-remove-url="/request/photos/{key}/away/"' in page
    assert Visitor().browser.post(f"/request/photos/{key}/away/").status_code == 200
    assert Picture.objects.count() == 1  # it is not theirs to take away
    answer = visitor.send(press=f"take {key}", wish="Half a wish")
    assert answer["Location"] == "/request/#pictures"
    assert not Picture.objects.exists()
    assert "Half a wish" in visitor.open()
    assert visitor.browser.post(f"/request/photos/{key}/away/").json() == {"ok": True}


def test_a_draft_picture_is_shown_to_its_holder_only(
    visitor: Visitor, picture_file: MakePicture, work: Any
) -> None:
    key = send_photo(visitor, picture_file()).json()["id"]
    address = f"/request/photos/{key}/small.webp"
    assert "being prepared" in visitor.open()
    work()
    page = visitor.open()
    assert f'<img src="{address}" alt="Your picture 1, a.jpg">' in page
    shown = visitor.browser.get(address)
    assert (shown.status_code, shown["Content-Type"]) == (200, "image/webp")
    assert "private" in shown["Cache-Control"]
    assert Browser().get(address).status_code == 404
    assert Visitor().browser.get(address).status_code == 404
    assert visitor.browser.get(f"/request/photos/{key}/original.webp").status_code == 404
    visitor.send()
    assert visitor.browser.get(address).status_code == 404  # it is the commission's now


def test_a_sent_request_takes_no_more(visitor: Visitor, picture_file: MakePicture) -> None:
    key = send_photo(visitor, picture_file()).json()["id"]
    visitor.send()
    answer = send_photo(visitor, picture_file())
    assert answer.status_code == 422
    assert "sent already" in answer.json()["message"]
    visitor.browser.post(f"/request/photos/{key}/away/")
    assert Picture.objects.count() == Shot.objects.count() == 1


def test_a_picture_of_nobody_is_not_taken(shop: Shop, picture_file: MakePicture) -> None:
    answer = Browser().post("/request/photos/", {"photo": picture_file()})
    assert (answer.status_code, answer.json()["ok"]) == (409, False)
    assert not Picture.objects.exists()


def test_two_hundred_photos_an_hour(
    visitor: Visitor, picture_file: MakePicture, monkeypatch: pytest.MonkeyPatch
) -> None:
    from datetime import timedelta

    from shopdesk.intake import portal

    monkeypatch.setitem(portal._LIMITS, "photos", (2, timedelta(hours=1)))
    send_photo(visitor, picture_file())
    send_photo(visitor, picture_file())
    answer = send_photo(visitor, picture_file("more.jpg"))
    assert answer.status_code == 429
    assert answer.json()["message"].startswith("more.jpg: many pictures came")
    page = visitor.send(photos=[picture_file("form.jpg")])
    assert page.status_code == 422
    assert "form.jpg: many pictures came" in page.content.decode()
    assert Picture.objects.count() == 2


def test_old_drafts_are_forgotten_with_their_pictures(visitor: Visitor, picture_file: MakePicture) -> None:
    send_photo(visitor, picture_file())
    other = Visitor()
    send_photo(other, picture_file("kept.jpg"))
    sent = Visitor()
    send_photo(sent, picture_file("sent.jpg"))
    sent.send()
    old = Draft.objects.first()
    assert old is not None
    for draft in (old, Draft.objects.get(commission=Commission.objects.get())):
        draft.touched_at -= actions.FORGET_AFTER * 2
        draft.save()
    actions.forget_old_drafts()
    assert Draft.objects.count() == 1
    assert sorted(Picture.objects.values_list("original_name", flat=True)) == ["kept.jpg", "sent.jpg"]
    assert Commission.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_pictures_at_once_take_different_places_and_never_too_many(
    shop: Shop, picture_file: MakePicture
) -> None:
    draft = Draft.objects.create()
    for number in range(MOST_PICTURES - 3):
        actions.add_picture(draft.key, picture_file(f"{number}.jpg", (8, 6)))
    refused: list[str] = []

    def add(upload: SimpleUploadedFile) -> None:
        try:
            actions.add_picture(draft.key, upload)
        except Refused as no:
            refused.append(no.sentence)
        finally:
            connection.close()

    threads = [
        threading.Thread(target=add, args=[picture_file(f"late{number}.jpg", (8, 6))]) for number in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(DraftPicture.objects.values_list("place", flat=True)) == list(range(MOST_PICTURES))
    assert len(refused) == 5
    assert Picture.objects.count() == MOST_PICTURES


@pytest.mark.django_db(transaction=True)
def test_two_presses_at_once_are_one_request(shop: Shop) -> None:
    visitor = Visitor()
    visitor.send(email="")  # makes the draft
    cookies = visitor.browser.cookies
    key, answers = visitor.key, []

    def press() -> None:
        browser = Browser()
        browser.cookies = cookies
        try:
            answers.append(browser.post("/request/", {**ASKED, "submission": key})["Location"])
        finally:
            connection.close()

    threads = [threading.Thread(target=press) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert answers == [f"/request/thanks/{key}/"] * 6
    assert Commission.objects.count() == 1
