"""What the desk's pages put together, each in a fixed number of statements."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Value

from shopdesk.ballpark.queries import ballparks_of
from shopdesk.base.models import Work
from shopdesk.changes.actions import CHANGEABLE
from shopdesk.changes.queries import changes_of
from shopdesk.clients.models import Client
from shopdesk.colours.queries import samples_of
from shopdesk.commissions.models import Commission
from shopdesk.commissions.stages import ENDS
from shopdesk.conversation.queries import timeline
from shopdesk.deposits.queries import invoices_of, standing
from shopdesk.documents.models import Document
from shopdesk.mail import queries as mail
from shopdesk.mail.models import DeadAddress, Email, Mailbox, Pause
from shopdesk.mail.returned import dead
from shopdesk.photos.models import Picture
from shopdesk.progress.queries import updates_of
from shopdesk.quotes.expiry import waits_for_follow_up
from shopdesk.quotes.queries import acceptance_of, draft_of, history, open_quote
from shopdesk.shop.models import Shop
from shopdesk.shop.queries import today_at
from shopdesk.visits.queries import visits_of

_SAID = 10
"""How much of the conversation stands on the commission's page; the rest is a press away."""


def commission_page(commission: Commission, shop: Shop) -> dict[str, Any]:
    """What the steps know of one commission, under the names that the templates use."""
    said = timeline(commission, _SAID)
    visits = visits_of(commission)
    quote = open_quote(commission)
    return {
        "quote": quote,
        "run_out": quote is not None and waits_for_follow_up(quote, commission, today_at(shop)),
        "draft": draft_of(commission),
        "quotes": history(commission),
        "acceptance": acceptance_of(commission),
        "standing": standing(commission),
        "invoices": invoices_of(commission),
        "changes": changes_of(commission),
        "changeable": commission.stage in CHANGEABLE,
        "ended": commission.stage in ENDS,
        "samples": samples_of(commission),
        "updates": updates_of(commission),
        "visits": visits,
        "drop_off": next((one for one in visits if one.kind == "drop-off" and one.state == "booked"), None),
        "pickup": next((one for one in visits if one.kind == "pickup" and one.state == "booked"), None),
        "site_visit": next(
            (one for one in visits if one.kind == "site-visit" and one.state == "booked"), None
        ),
        "ballparks": ballparks_of(commission),
        "dead": dead_address(commission.client),
        "said": said,
        "unanswered": said.waiting,
    }


def dead_address(client: Client) -> DeadAddress | None:
    """What is known of a client's address when it takes no mail."""
    return dead([client.email]).get(client.email.lower())


PAUSE_SAID_AFTER = timedelta(minutes=3)
"""A mail server that is away for a moment is no news for the front page."""


@dataclass(frozen=True)
class Trouble:
    """What does not go by itself: the worker silent, and work that failed."""

    worker_seen: datetime | None
    worker_silent: bool
    emails: list[Email]
    documents: list[Document]
    pictures: list[Picture]
    to_tell: int
    mailbox: Mailbox | None
    to_place: int
    pause: Pause | None
    waiting: int
    """How many emails wait, while there is a pause."""

    @property
    def any(self) -> bool:
        wrong = self.emails or self.documents or self.pictures or self.mailbox or self.pause
        return bool(self.worker_silent or wrong)


def trouble(now: datetime) -> Trouble:
    """What went wrong. Most days nothing has, and one statement says so for all three kinds of work."""
    heartbeat = mail.worker_seen()
    models: dict[str, type[Work]] = {"email": Email, "document": Document, "picture": Picture}
    failed = {kind: model._default_manager.filter(state=Work.State.FAILED) for kind, model in models.items()}
    kinds = [rows.order_by().values_list(Value(kind)).distinct() for kind, rows in failed.items()]
    wrong = {kind for (kind,) in kinds[0].union(*kinds[1:])}

    def latest(kind: str) -> list[Any]:
        return list(failed[kind].order_by("-id")[:10]) if kind in wrong else []

    pause = mail.standing_pause(now, PAUSE_SAID_AFTER)
    return Trouble(
        worker_seen=heartbeat.seen_at if heartbeat else None,
        worker_silent=heartbeat is None or heartbeat.is_stale(now),
        emails=latest("email"),
        documents=latest("document"),
        pictures=latest("picture"),
        to_tell=mail.to_tell().count(),
        mailbox=mail.mailbox_trouble(),
        to_place=mail.to_place().count(),
        pause=pause,
        waiting=mail.held_up(now).count() if pause else 0,
    )
