"""How much of the disk people who are not the owner may fill."""

from __future__ import annotations

import logging
import shutil
from collections.abc import Collection
from datetime import timedelta

from django.conf import settings

from shopdesk.base.limits import allow

log = logging.getLogger(__name__)
MOST_A_DAY = 1024**3
"""Bytes of pictures from one connection, or of one client, within a day: some two hundred of a phone's."""


def is_short() -> bool:
    """Whether what is left is the owner's, who has to go on working: less than
    `settings.PICTURES_LEAST_FREE` bytes."""
    folder = next((one for one in (settings.PICTURES, *settings.PICTURES.parents) if one.is_dir()), None)
    if folder is None or shutil.disk_usage(folder).free >= settings.PICTURES_LEAST_FREE:
        return False
    log.error("There is little room left for pictures in %s: no more are taken from clients.", folder)
    return True


def allow_pictures(whose: str, sizes: Collection[int | None]) -> bool:
    """Count the bytes of pictures that `whose` ("203.0.113.7", "client 5") sends; `False` once there were
    more than `MOST_A_DAY`."""
    kilobytes = sum(-(-(size or 0) // 1024) for size in sizes)
    return allow(
        f"kilobytes of pictures of {whose}",
        most=MOST_A_DAY // 1024,
        span=timedelta(days=1),
        count=kilobytes,
    )


def no_room(phone: str) -> str:
    call = f" or call us on {phone}" if phone else ""
    return f"There is little room left for pictures here just now. Please try again later{call}."


def many_bytes(phone: str) -> str:
    call = f", or call us on {phone}" if phone else ""
    return f"That is more in pictures than we can take in one day. Please send the rest tomorrow{call}."
