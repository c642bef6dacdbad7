"""Pictures of a commission within an email."""

from __future__ import annotations

from collections.abc import Sequence

from shopdesk.mail.actions import Enclose
from shopdesk.photos.models import Picture
from shopdesk.photos.renditions import size_in_mail
from shopdesk.photos.serve import JPEG, MAIL

AT_ONCE = 3
"""How many of one occasion an email shows; the rest is on the page."""
_WIDEST = 564
"""CSS pixels: the column of `templates/emails/base.html`."""


def shown(pictures: Sequence[Picture], says: str, most: int = AT_ONCE) -> list[Enclose]:
    """The first `most` of the pictures, to stand within an email (`letters.to_client(…, enclose=…)`). `says`
    is what they show, for whoever does not see them."""
    return [_shown(picture, says, number, len(pictures)) for number, picture in enumerate(pictures[:most], 1)]


def _shown(picture: Picture, says: str, number: int, count: int) -> Enclose:
    width, height = size_in_mail(picture.width, picture.height)
    scale = min(1.0, _WIDEST / max(width, height))
    return Enclose(
        filename=f"picture-{number}.jpg",
        mime=JPEG,
        ref=f"pictures:{picture.pk}:{MAIL}",
        cid=str(picture.key),
        says=f"{says[:180]} ({number} of {count})" if count > 1 else says,
        width=max(1, round(width * scale)),
        height=max(1, round(height * scale)),
    )
