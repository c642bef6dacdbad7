"""Pictures within emails: which emails show them, how many and how large."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image

from shopdesk.base.who import Who
from shopdesk.colours.actions import NewSample, propose
from shopdesk.commissions.models import Commission
from shopdesk.commissions.shown import shown
from shopdesk.conversation.actions import say_to_client, say_to_shop
from shopdesk.mail.message import Letter
from shopdesk.mail.models import Email
from shopdesk.photos.actions import take_in
from shopdesk.photos.models import Picture
from tests.conftest import MakePicture

pytestmark = pytest.mark.django_db


def test_three_at_most_as_wide_as_the_column_and_never_enlarged() -> None:
    sizes = [(4000, 3000), (3000, 4000), (320, 240), (4000, 3000)]
    pictures = [Picture(pk=n, width=width, height=height) for n, (width, height) in enumerate(sizes, 1)]
    first, upright, small = shown(pictures, "The top")
    assert (first.width, first.height) == (564, 423)
    assert (upright.width, upright.height) == (423, 564)
    assert (small.width, small.height) == (320, 240)
    assert first.ref == "pictures:1:mail"
    assert (first.says, small.says) == ("The top (1 of 4)", "The top (3 of 4)")
    assert len({one.cid for one in (first, upright, small)}) == 3
    assert [one.says for one in shown(pictures[:1], "The top")] == ["The top"]
    assert len(shown(pictures, "x" * 300)[0].says) <= 200


def in_email(mailbox: list[Any], kind: str) -> tuple[Letter, list[Image.Image]]:
    email = Email.objects.get(kind=kind)
    (letter,) = [one for one in mailbox if one.extra_headers["Message-ID"] == email.message_id]
    assert isinstance(letter, Letter)
    return letter, [Image.open(io.BytesIO(blob.data)) for _, blob in letter.pictures]


def test_emails_that_are_about_pictures_show_them(
    commission: Commission,
    as_owner: Who,
    as_client: Who,
    picture_file: MakePicture,
    work: Callable[[], None],
    mailbox: list[Any],
) -> None:
    def pictures(count: int) -> list[Picture]:
        return [take_in(picture_file(size=(1000, 750)), f"{n}.jpg") for n in range(count)]

    say_to_shop(commission, "Like this one.", as_client, pictures(4))
    say_to_client(commission, "", as_owner, pictures(1))
    piece = commission.pieces.all()[0]
    propose(piece, NewSample(name="Slipway brown"), as_owner, pictures(1)[0])
    work()
    letter, images = in_email(mailbox, "client-message")
    assert [image.size for image in images] == [(800, 600)] * 3
    assert "And one more picture at the desk." in letter.body
    assert f"[Picture: Picture from {commission.client.name} (1 of 4)]" in letter.body
    letter, images = in_email(mailbox, "question")
    assert len(images) == 1
    assert "more" not in letter.body
    letter, images = in_email(mailbox, "sample")
    assert [image.format for image in images] == ["JPEG"]
    assert "[Picture: Sample 1: Slipway brown]" in letter.body
