"""Pictures for a page that shows what was frozen."""

from __future__ import annotations

from typing import Any

from shopdesk.photos.models import Picture
from shopdesk.quotes.differences import differences
from shopdesk.quotes.models import Quote
from shopdesk.quotes.queries import sent_before


def pictures_in(content: dict[str, Any] | None) -> dict[str, Picture]:
    """The pictures that a quote's content names, by their ref ("pictures:5:medium"). One statement and one
    for renditions."""
    refs = [piece["picture_ref"] for piece in (content or {}).get("pieces", []) if piece.get("picture_ref")]
    ids = {ref: int(ref.split(":")[1]) for ref in refs}
    if not ids:
        return {}
    found = {
        picture.pk: picture
        for picture in Picture.objects.filter(pk__in=ids.values()).prefetch_related("renditions")
    }
    return {ref: found[pk] for ref, pk in ids.items() if pk in found}


def changes_in(one: Quote, content: dict[str, Any] | None) -> dict[str, Any]:
    """What a revision changes against the one that was out before, for `_differences.html`; `None` where
    there was none before it."""
    earlier = sent_before(one)
    if earlier is None or earlier.frozen is None or content is None:
        return {"earlier": None, "differences": None}
    return {"earlier": earlier, "differences": differences(earlier.frozen, content)}
