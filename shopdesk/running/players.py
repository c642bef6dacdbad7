"""Who is in the demo's story and what they can do: the same actions that the pages use, on the story's days,
each waited for until a real worker has done its part."""

from __future__ import annotations

import time
import tomllib
import uuid
from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import datetime, timedelta
from datetime import time as day_time
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from shopdesk.base.models import Work
from shopdesk.base.who import Who
from shopdesk.colours import actions as colours
from shopdesk.commissions.actions import NewPiece, Wish
from shopdesk.commissions.models import Commission
from shopdesk.craft.slots import Window
from shopdesk.craft.units import parse_length_mm
from shopdesk.deposits import actions as deposits
from shopdesk.deposits.queries import standing
from shopdesk.documents.models import Document
from shopdesk.intake import actions as intake
from shopdesk.mail import arrivals
from shopdesk.mail.models import Arrival, Email
from shopdesk.photos.actions import take_in
from shopdesk.photos.models import Picture
from shopdesk.pricebook.actions import begin as begin_price_book
from shopdesk.quotes import actions as quotes
from shopdesk.quotes.models import Acceptance, Quote
from shopdesk.quotes.typed import TypedOption, TypedQuote
from shopdesk.running import incoming
from shopdesk.running.calendar import Calendar
from shopdesk.running.reckoned import typed_piece
from shopdesk.running.telling import calendar_files, near
from shopdesk.shop.actions import ShopFacts, set_up
from shopdesk.shop.models import User
from shopdesk.shop.queries import the_shop, today_at
from shopdesk.visits import actions as visits
from shopdesk.visits.models import Visit
from shopdesk.visits.queries import free

_SOON = timedelta(minutes=15)
WORDS = settings.BASE_DIR / "shared" / "demo" / "scenario.toml"


class WorkerSilent(Exception):
    """The worker has not done its work in time; the text says what is left."""


class Players:
    """What is done, and the days on which it is: each step is `tell`ed in a line with the paths of what it
    made. `meanwhile` is called over and over while the worker is waited for; what it raises ends the
    story."""

    def __init__(
        self, calendar: Calendar, tell: Callable[[str], None], meanwhile: Callable[[], None] = lambda: None
    ) -> None:
        self.words: dict[str, Any] = tomllib.loads(WORDS.read_text())
        self.calendar = calendar
        self._tell = tell
        self._meanwhile = meanwhile
        self._step = 0
        self._seen: set[Path] = set()
        self.pictures: dict[str, Path] = {}
        self.owner = Who("owner")

    # -- the days ------------------------------------------------------------------------------------------

    def days_ago(self, days: int, hour: int, minute: int = 0) -> None:
        """On to so many days before today, once the worker has done what was due until then."""
        self.wait_for_worker()
        self.calendar.days_ago(days, hour, minute)

    def turn_to(self, at: datetime) -> None:
        """On to that moment, in the same way."""
        self.wait_for_worker()
        self.calendar.turn_to(at)

    # -- telling ---------------------------------------------------------------------------------------------

    def told(self, line: str, *, wait: bool = True) -> None:
        """A step is done: wait until the worker has done its part, then say it, and what it made."""
        self._step += 1
        if wait:
            self.wait_for_worker()
        made = [path for path in self._files() if path not in self._seen]
        self._seen.update(made)
        self._tell(f"{self._step:2}. {line}")
        for path in made:
            self._tell(f"      {near(path)}")
            for calendar_file in calendar_files(path) if path.suffix == ".eml" else ():
                self._tell(f"      {near(calendar_file)}")

    def _files(self) -> list[Path]:
        found = [*settings.DOCUMENTS.glob("**/*.pdf"), *settings.MAIL_FOLDER.glob("*.eml")]
        return sorted(found, key=lambda path: path.stat().st_mtime)

    def wait_for_worker(self, seconds: float = 90) -> None:
        """Until every picture, document and email that is due has been done. Raises `WorkerSilent`."""
        until = time.monotonic() + seconds
        while left := self._left():
            self._let_time_pass()
            if time.monotonic() > until:
                raise WorkerSilent(f"The worker has not done: {', '.join(left)}.")
            self._meanwhile()
            time.sleep(0.1)

    def _let_time_pass(self) -> None:
        """Until the next email that gathers what is written within ten minutes may go."""
        waiting = Email.objects.filter(state=Work.State.WAITING, way=Email.Way.EMAIL)
        first = waiting.order_by("due_at").values_list("due_at", flat=True).first()
        if first is not None and timezone.now() < first <= timezone.now() + _SOON:
            self.calendar.turn_to(first)

    def _left(self) -> list[str]:
        open_ = [Work.State.WAITING, Work.State.UNDER_WAY]
        rows: list[Work] = [
            *Picture.objects.filter(state__in=open_),
            *Document.objects.filter(state__in=open_),
            *Arrival.objects.filter(state__in=open_),
            *Email.objects.filter(state__in=open_, way=Email.Way.EMAIL, due_at__lte=timezone.now() + _SOON),
        ]
        failed = [
            *Picture.objects.filter(state=Work.State.FAILED),
            *Document.objects.filter(state=Work.State.FAILED),
            *Email.objects.filter(state=Work.State.FAILED, came_back_at=None),
        ]
        if failed:
            raise WorkerSilent(
                "; ".join(f"{type(row).__name__.lower()} {row.pk} failed: {row.trouble}" for row in failed)
            )
        return [f"{type(row).__name__.lower()} {row.pk} ({row.trouble or row.state})" for row in rows]

    # -- the parts -------------------------------------------------------------------------------------------

    def open_shop(self) -> User:
        facts, hours, owner = dict(self.words["shop"]), self.words["hours"], self.words["owner"]
        for name in ("tax_rate", "deposit_share"):
            facts[name] = Decimal(facts[name])
        user = set_up(
            owner=owner["name"],
            login=owner["login"],
            password=owner["password"],
            hours=[
                Window(int(weekday), day_time.fromisoformat(opens), day_time.fromisoformat(closes))
                for weekday, spans in hours.items()
                for opens, closes in spans
            ],
            facts=ShopFacts(**{**facts, "terms": facts["terms"].strip()}),  # type: ignore[typeddict-item]
        )
        self.owner = Who("owner", user.pk, "127.0.0.1")
        begin_price_book(self.owner)
        return user

    def _file(self, name: str) -> SimpleUploadedFile:
        return SimpleUploadedFile(f"{name}.jpg", self.pictures[name].read_bytes(), content_type="image/jpeg")

    def photo(self, name: str) -> Picture:
        return take_in(self._file(name), f"{name}.jpg")

    def ask(self, who: str, pictures: Sequence[str]) -> tuple[Commission, Who]:
        """A client sends a request from the page: pictures one by one into the draft, then the form."""
        part = self.words[who]
        key = uuid.uuid4()
        for name in pictures:
            intake.add_picture(key, self._file(name))
        asked = intake.Asked(
            part["name"],
            part["email"],
            part["phone"],
            Wish(**part["wish"]),
            [_piece(one) for one in part["pieces"]],
        )
        commission = intake.send_request(key, asked, "127.0.0.1")
        self.wait_for_worker()  # the quote shows a picture, and does not wait for one from weeks ago
        return commission, Who("client", commission.client_id, "127.0.0.1")

    def quote(
        self,
        who: str,
        commission: Commission,
        *,
        starts: int,
        ready: int,
        less: Mapping[str, str] | None = None,
    ) -> Quote:
        """The owner writes a quote (or a new revision, with something taken off) and sends it."""
        kept = self.begin_quote(who, commission, starts=starts, ready=ready, less=less)
        return quotes.send(commission, kept.edition, self.owner)

    def begin_quote(
        self,
        who: str,
        commission: Commission,
        *,
        starts: int,
        ready: int,
        less: Mapping[str, str] | None = None,
    ) -> Quote:
        """The owner begins a quote and keeps what was typed."""
        part = self.words[who]["quote"]
        today = today_at(the_shop())
        draft = quotes.start(commission, self.owner)
        ids = [piece.piece_id for piece in draft.pieces.all()]
        typed = TypedQuote(
            pieces=[
                typed_piece(commission, one, piece_id)
                for one, piece_id in zip(part["pieces"], ids, strict=True)
            ],
            options=[
                TypedOption(**{**one, "price": Decimal(one["price"])}) for one in part.get("options", [])
            ],
            discount=Decimal(less["discount"]) if less else Decimal(0),
            discount_words=less["discount_words"] if less else "",
            starts_on=today + timedelta(days=starts),
            ready_on=today + timedelta(days=ready),
            good_until=draft.good_until,
            deposit_share=draft.deposit_share,
            note=part.get("note", ""),
            included=draft.included,
            not_included=draft.not_included,
            terms=draft.terms,
        )
        return quotes.save(commission, typed, draft.edition, self.owner)

    def accept(self, quote: Quote, who: Who, *, options: Collection[int] = ()) -> Acceptance:
        """The client ticks the options at these places and accepts."""
        every = [option.pk for option in quote.options.all()]
        ids = [every[place] for place in options]
        return quotes.accept(quote.pk, ids, quote.commission.client.name, who)

    def pay(self, commission: Commission, how: str, *, deposit: bool) -> Decimal:
        money = standing(commission)
        assert money is not None
        amount = money.deposit_open if deposit else money.due
        deposits.record_payment(commission, amount, today_at(the_shop()), how, "", self.owner)
        return amount

    def book(self, commission: Commission, kind: str, who: Who, *, skip: int = 0) -> Visit:
        slots = free(timezone.now())
        return visits.book(commission, kind, slots[skip].start, who)

    def propose(self, commission: Commission, who: str, which: str, board: str, *, place: int = 1) -> int:
        """The owner shows a sample for the piece at this place."""
        piece = commission.pieces.get(position=place)
        new = colours.NewSample(**self.words[who]["samples"][which])
        return colours.propose(piece, new, self.owner, self.photo(board)).pk

    def comes_in(self, raw: bytes) -> None:
        """An email comes into the shop's mailbox, and the worker puts it where it belongs."""
        arrivals.take_in(raw)
        self.wait_for_worker()

    def answers_by_mail(self, commission: Commission, words: str) -> None:
        """The client answers the latest question from their mail program."""
        self.wait_for_worker()
        asked = Email.objects.filter(thread=f"commission {commission.pk}", kind="question").latest("pk")
        self.comes_in(incoming.answer(asked, words, timezone.now()))


def _piece(part: dict[str, str]) -> NewPiece:
    sizes = {
        f"{side}_mm": parse_length_mm(part[side], "in")
        for side in ("width", "depth", "height")
        if side in part
    }
    rest = {
        name: part[name]
        for name in ("name", "material", "made", "finish_now", "trouble", "hardware")
        if name in part
    }
    return NewPiece(**rest, **sizes)  # type: ignore[arg-type]
