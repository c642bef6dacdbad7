"""How the demo tells of money and of files."""

from __future__ import annotations

from decimal import Decimal
from email import policy
from email.parser import BytesParser
from pathlib import Path

from django.conf import settings

from shopdesk.look import formats
from shopdesk.shop.queries import the_shop


def said(amount: Decimal) -> str:
    """An amount in the shop's currency, as a page writes it."""
    shop = the_shop()
    return formats.money(amount, shop.currency, shop.locale)


def near(path: Path) -> Path:
    """The path as somebody in the project's folder would type it."""
    return path.relative_to(settings.BASE_DIR) if path.is_relative_to(settings.BASE_DIR) else path


def calendar_files(email: Path) -> list[Path]:
    """The calendar files that an email carries, written beside it as a mail program would save them."""
    message = BytesParser(policy=policy.default).parsebytes(email.read_bytes())
    made = []
    for part in message.walk():
        if part.get_content_type() == "text/calendar":
            path = email.with_name(f"{email.stem}-{part.get_filename() or 'visit.ics'}")
            path.write_text(part.get_content(), newline="")
            made.append(path)
    return made
