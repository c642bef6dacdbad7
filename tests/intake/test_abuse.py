"""What somebody can fill or use up who only has the request page."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser

from shopdesk.base.limits import origin
from shopdesk.commissions.models import Commission
from shopdesk.conversation.models import Message
from shopdesk.intake import actions, portal
from shopdesk.intake.forms import MOST_KEPT, kept_of
from shopdesk.intake.models import Draft
from shopdesk.photos import room
from shopdesk.photos.models import Picture
from tests.conftest import MakePicture
from tests.intake.conftest import Visitor

pytestmark = pytest.mark.django_db


def photo(visitor: Visitor, upload: SimpleUploadedFile) -> Any:
    return visitor.browser.post("/request/photos/", {"photo": upload}, headers={"accept": "application/json"})


def test_presses_count_as_drafts_do(visitor: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(portal._LIMITS, "drafts", (2, timedelta(hours=1)))
    for _ in range(2):
        assert visitor.send(press="another", name="Ismay").status_code == 302
    answer = visitor.send(press="another", name="Somebody else")
    assert answer.status_code == 429
    assert "Somebody else" in answer.content.decode()
    assert Draft.objects.get().typed["name"] == "Ismay"


def test_a_draft_keeps_only_so_much() -> None:
    typed = {"name": "n" * 5000, "wish": "w" * 50_000, "pieces": "1", "sheen": "s" * 500}
    kept = kept_of(typed)
    assert {name: len(words) for name, words in kept.items()} == {
        "name": 240,
        "wish": 10_000,
        "pieces": 1,
        "sheen": 200,
    }
    full = {f"piece{number}-trouble": "🪑" * 10_000 for number in range(12)}
    assert MOST_KEPT - 4 < sum(len(words.encode()) for words in kept_of(full).values()) <= MOST_KEPT


def test_bytes_of_pictures_are_counted_by_the_day(
    visitor: Visitor, picture_file: MakePicture, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(room, "MOST_A_DAY", 64 * 1024)
    assert photo(visitor, picture_file()).status_code == 200
    answer = photo(visitor, SimpleUploadedFile("b.png", b"\0" * 63 * 1024))
    assert answer.status_code == 429
    assert "b.png: That is more in pictures than we can take in one day" in answer.json()["message"]
    assert "555-0118" in answer.json()["message"]


def test_the_last_of_the_disk_is_the_owners(
    visitor: Visitor,
    portal: Browser,
    desk: Browser,
    commission: Commission,
    picture_file: MakePicture,
    settings: Any,
) -> None:
    settings.PICTURES_LEAST_FREE = 2**62
    answer = photo(visitor, picture_file())
    assert answer.status_code == 507
    assert "little room left" in answer.json()["message"]
    page = visitor.send(photos=[picture_file()])
    assert page.status_code == 422
    assert "little room left" in page.content.decode()
    said = portal.post(f"/my/{commission.number}/ask/", {"text": "Look", "photos": picture_file()})
    assert said.status_code == 422
    assert "call us on 555-0118" in said.content.decode()
    assert "Look" in said.content.decode()
    assert not Picture.objects.exists()
    assert not Message.objects.exists()
    own = {"name": "Ismay", "phone": "555-0142", "wish": "All", "source": "door", "pictures": picture_file()}
    assert desk.post("/desk/new/", own).status_code == 302
    assert Picture.objects.count() == 1


def test_unsent_pictures_go_after_a_week(visitor: Visitor, picture_file: MakePicture) -> None:
    photo(visitor, picture_file())
    words = Visitor()
    words.send(press="another")
    for days, left in ((6, 2), (2, 1)):
        for draft in Draft.objects.all():
            draft.touched_at -= timedelta(days=days)
            draft.save()
        actions.forget_old_drafts()
        assert Draft.objects.count() == left
        assert Picture.objects.count() == left - 1


def test_five_requests_a_day_for_one_email_from_wherever(shop: object) -> None:
    for number in range(5):
        assert Visitor(REMOTE_ADDR=f"203.0.113.{number}").send().status_code == 302
    answer = Visitor(REMOTE_ADDR="203.0.113.77").send(email="ISMAY@example.com")
    assert answer.status_code == 409
    assert "for your email address" in answer.content.decode()
    assert Visitor(REMOTE_ADDR="203.0.113.78").send(email="other@example.com").status_code == 302


def test_a_client_writes_only_so_often(
    portal: Browser, commission: Commission, picture_file: MakePicture, monkeypatch: pytest.MonkeyPatch
) -> None:
    ask = f"/my/{commission.number}/ask/"
    for number in range(60):
        assert portal.post(ask, {"text": f"Is it {number}?"}).status_code == 302
    answer = portal.post(ask, {"text": "And now?"})
    assert answer.status_code == 422
    assert "You have written a great deal today" in answer.content.decode()
    assert "And now?" in answer.content.decode()
    assert Message.objects.count() == 60


@pytest.mark.parametrize(
    ("address", "counted"),
    [
        ("203.0.113.7", "203.0.113.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("2001:db8:1:2::9", "2001:db8:1:2::/64"),
        ("::ffff:203.0.113.7", "203.0.113.7"),
        ("fe80::1%eth0", "fe80::/64"),
        ("", ""),
        ("somewhere", "somewhere"),
    ],
)
def test_limits_count_a_household_and_not_its_addresses(address: str, counted: str) -> None:
    assert origin(address) == counted


def test_another_address_of_the_same_network_is_no_new_start(
    shop: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(portal._LIMITS, "requests", (1, timedelta(days=1)))
    assert Visitor(REMOTE_ADDR="2001:db8::1").send().status_code == 302
    assert Visitor(REMOTE_ADDR="2001:db8::2").send().status_code == 429
    assert Visitor(REMOTE_ADDR="2001:db8:0:1::1").send().status_code == 302
