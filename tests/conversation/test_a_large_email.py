"""An email as large as a mailbox takes one, with pictures of a telephone in it."""

from __future__ import annotations

import hashlib

import pytest

from shopdesk.commissions.models import Commission
from shopdesk.conversation import post
from shopdesk.conversation.models import Message
from shopdesk.mail import arrivals, tags
from shopdesk.mail.models import Arrival
from shopdesk.photos.models import Picture
from tests.mail.arriving import Letter
from tests.mail.letters import picture

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("inbox")]

AT_LEAST = 25_000_000


def test_25_mb_of_photos_stand_in_the_conversation(commission: Commission, letter: Letter) -> None:
    photos = [picture(2900, 2120, seed=seed) for seed in range(5)]
    files = [(f"IMG_{number}.jpg", "image/jpeg", data) for number, data in enumerate(photos)]
    files.insert(2, ("plan.pdf", "application/pdf", b"%PDF-1.7" * 1000))
    files.append(("IMG_9.mov", "video/quicktime", b""))
    words = "All of it, from each side.\n\n> Which side is it?\n> Runa"
    made = letter(words, to=tags.reply_address(f"commission {commission.pk}"), attached=files)
    made.add_attachment(
        picture(40, 40, "PNG"), "image", "png", disposition="inline", filename="mark.png", cid="<mark>"
    )
    raw = made.as_bytes()
    assert AT_LEAST < len(raw) < AT_LEAST * 1.2
    arrival = arrivals.take_in(raw)
    assert arrival is not None
    assert arrival.bytes == len(raw)
    assert arrivals.take_in(raw) is None
    post.place_all()
    arrival.refresh_from_db()
    assert (arrival.state, arrival.verdict) == ("done", Arrival.Verdict.PLACED), (
        arrival.trouble or arrival.why
    )
    message = Message.objects.get(arrival=arrival)
    assert message.text == "All of it, from each side."
    assert "Which side is it?" in message.quoted
    taken = Picture.objects.filter(pk__in=message.shots.values("picture")).order_by("original_name")
    assert [(one.original_name, one.original_sha256) for one in taken] == [
        (name, hashlib.sha256(data).hexdigest()) for name, mime, data in files if mime == "image/jpeg"
    ]
    assert [one.partition(",")[0] for one in message.left_out] == ["mark.png", "plan.pdf", "IMG_9.mov"]
    assert message.left_out[2] == "IMG_9.mov, empty"
