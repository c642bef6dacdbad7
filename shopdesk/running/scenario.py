"""The demo's story, played through the same actions that the pages use: real pictures, real PDFs, real
emails by a real worker.

The words stand in `shared/demo/scenario.toml`, the pictures are drawn by `shopdesk.running.drawings`.
"""

from __future__ import annotations

import time
import tomllib
import uuid
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from datetime import time as day_time
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from shopdesk.ballpark import actions as ballpark
from shopdesk.base.models import Work
from shopdesk.base.who import Who
from shopdesk.bench import actions as bench
from shopdesk.changes import actions as changes
from shopdesk.clients.access import link
from shopdesk.clients.queries import grant_of
from shopdesk.colours import actions as colours
from shopdesk.commissions.actions import NewPiece, Wish
from shopdesk.commissions.models import Commission
from shopdesk.conversation import actions as conversation
from shopdesk.craft.slots import Window
from shopdesk.craft.units import parse_length_mm
from shopdesk.deposits import actions as deposits
from shopdesk.deposits.queries import standing
from shopdesk.documents.models import Document
from shopdesk.intake import actions as intake
from shopdesk.mail.models import Email
from shopdesk.photos.actions import take_in
from shopdesk.photos.models import Picture
from shopdesk.pricebook.actions import begin as begin_price_book
from shopdesk.progress import actions as progress
from shopdesk.quotes import actions as quotes
from shopdesk.quotes.models import Acceptance, Quote
from shopdesk.quotes.typed import TypedOption, TypedQuote
from shopdesk.running.calendar import Calendar
from shopdesk.running.drawings import save_all
from shopdesk.running.reckoned import typed_piece
from shopdesk.running.telling import calendar_files, near, said
from shopdesk.shop.actions import ShopFacts, set_up
from shopdesk.shop.models import User
from shopdesk.shop.queries import the_shop
from shopdesk.visits import actions as visits
from shopdesk.visits.models import Visit
from shopdesk.visits.queries import free

_SOON = timedelta(minutes=15)
WORDS = settings.BASE_DIR / "shared" / "demo" / "scenario.toml"


@dataclass(frozen=True)
class Addresses:
    """What a newcomer needs when the story has been played."""

    login: str
    password: str
    client_link: str


class WorkerSilent(Exception):
    """The worker has not done its work in time; the text says what is left."""


class Story:
    """Plays the scenario, `tell`ing each step in a line with the paths of what it made. `meanwhile` is called
    over and over while the worker is waited for; what it raises ends the story."""

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
            *Email.objects.filter(state__in=open_, way=Email.Way.EMAIL, due_at__lte=timezone.now() + _SOON),
        ]
        failed = [
            *Picture.objects.filter(state=Work.State.FAILED),
            *Document.objects.filter(state=Work.State.FAILED),
            *Email.objects.filter(state=Work.State.FAILED),
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
        today = timezone.localdate(timezone=the_shop().tz)
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
        deposits.record_payment(
            commission, amount, timezone.localdate(timezone=the_shop().tz), how, "", self.owner
        )
        return amount

    def book(self, commission: Commission, kind: str, who: Who, *, skip: int = 0) -> Visit:
        slots = free(timezone.now())
        return visits.book(commission, kind, slots[skip].start, who)

    def propose(self, commission: Commission, who: str, which: str, board: str, *, place: int = 1) -> int:
        """The owner shows a sample for the piece at this place."""
        piece = commission.pieces.get(position=place)
        new = colours.NewSample(**self.words[who]["samples"][which])
        return colours.propose(piece, new, self.owner, self.photo(board)).pk

    # -- the story -------------------------------------------------------------------------------------------

    def play(self) -> Addresses:
        """The whole of it. Raises `WorkerSilent` when no worker does its part."""
        owner = self.words["owner"]
        began = time.monotonic()
        self.pictures = save_all(settings.VAR / "drawn", size=(1600, 1200))
        self.calendar.days_ago(30, 9)
        self.open_shop()
        shop, seconds = self.words["shop"]["name"], time.monotonic() - began
        self.told(f"{owner['name']} sets up {shop}; {len(self.pictures)} pictures drawn in {seconds:.0f} s")
        commission = self._from_request_to_hand_over()
        self._others()
        return Addresses(
            owner["login"],
            owner["password"],
            link(grant_of(commission.client), f"/my/{commission.number}/"),
        )

    def _from_request_to_hand_over(self) -> Commission:
        zone, words = self.calendar.zone, self.words["desk"]
        name = words["name"]
        self.days_ago(27, 10, 12)
        commission, client = self.ask(
            "desk", ["desk-before-front", "desk-before-top", "desk-before-drawer", "armchair-before"]
        )
        number = commission.number
        self.told(f"{name} asks about a writing desk and an armchair, with four pictures: {number}")
        self.days_ago(26, 18, 40)
        conversation.say_to_client(
            commission,
            "What a fine desk. Does the leather matter to you, or may it give way to walnut?",
            self.owner,
        )
        self.days_ago(26, 20, 5)
        conversation.say_to_shop(commission, "It may go. I would rather write on wood.", client)
        self.days_ago(26, 20, 30)
        conversation.say_to_client(commission, "Walnut it is. Your quote follows tomorrow.", self.owner)
        self.told("A question and its answer")
        self.days_ago(25, 19, 20)
        quote = self.quote("desk", commission, starts=6, ready=21)
        self.told("The price book quotes the two pieces from their sizes; the quote goes out as a PDF")
        self.days_ago(24, 9, 30)
        conversation.say_to_shop(commission, words["revision"]["wish"], client)
        self.days_ago(24, 18, 50)
        conversation.say_to_client(commission, words["revision"]["answer"], self.owner)
        quote = self.quote("desk", commission, starts=6, ready=21, less=words["revision"])
        self.told(f"Revision {quote.revision} goes out, and says what changed")
        self.days_ago(23, 8, 15)
        acceptance = self.accept(quote, client, options=(0, 2))
        self.told(f"{name} ticks an option and accepts: {said(acceptance.total)} in all")
        self.days_ago(22, 17, 30)
        amount = self.pay(commission, "transfer", deposit=True)
        self.told(f"The deposit of {said(amount)} is in, with a receipt; the place is booked")
        self.days_ago(22, 18, 10)
        visit = self.book(commission, "drop-off", client, skip=4)
        self.told(f"{name} books a drop-off: {visit.starts_at.astimezone(zone):%a %d %b, %H:%M}")
        self.turn_to(visit.starts_at + timedelta(minutes=20))
        bench.check_in(
            commission,
            timezone.localdate(timezone=zone),
            self.owner,
            note="Ring and lifting veneer looked at together",
        )
        self.told("The pieces are checked in")
        self.days_ago(17, 8, 5)
        bench.begin_work(commission, self.owner)
        progress.show(
            commission,
            "The leather is off, and everything is sanded through the grits. The drawers are numbered.",
            self.owner,
            [self.photo("desk-sanded")],
        )
        progress.show(
            commission,
            "The armchair is glued up anew and rests in its clamps.",
            self.owner,
            [self.photo("armchair-glue-up")],
        )
        self.told("On the bench; two pieces of progress go out as one email")
        self.days_ago(16, 17, 15)
        found = words["change"]
        change = changes.propose(
            commission,
            changes.NewChange(found["reason"], found["words"], Decimal(found["price"]), days=found["days"]),
            self.owner,
            [self.photo("desk-before-top")],
        )
        self.days_ago(16, 20, 40)
        changes.accept(change.pk, name, client)
        changes.note(change.pk, self.owner)
        self.told(f"Hidden damage: change {change.number} is pictured, priced and agreed")
        self.days_ago(15, 12, 30)
        first = self.propose(commission, "desk", "first", "board-tarred-walnut")
        self.days_ago(14, 9, 50)
        colours.ask_again(first, name, words["samples"]["not_yet"], client)
        self.days_ago(13, 17, 45)
        second = self.propose(commission, "desk", "second", "board-slipway-brown")
        chair = self.propose(commission, "desk", "second", "board-slipway-brown", place=2)
        self.days_ago(11, 18, 20)
        colours.approve(second, name, client)
        colours.approve(chair, name, client)
        self.told("The first sample is not right yet, the second is approved")
        self.days_ago(10, 9, 30)
        bench.first_coat(commission, self.owner)
        progress.show(
            commission,
            "Dye and first coat. It looks redder wet than it will be dry.",
            self.owner,
            [self.photo("desk-first-coats")],
        )
        bench.set_to_dry(commission, self.owner)
        self.told("First coat of colour, and drying")
        self.days_ago(5, 16, 40)
        finals = [self.photo(one) for one in ("desk-after-front", "desk-after-top", "armchair-after")]
        progress.show(
            commission, "Done. Seven drawers run, both locks turn.", self.owner, finals, finished=True
        )
        bench.make_ready(commission, self.owner)
        self.told("Finished, with the last pictures; ready to collect")
        self.days_ago(4, 19, 0)
        visit = self.book(commission, "pickup", client, skip=2)
        self.told(f"{name} books a pickup: {visit.starts_at.astimezone(zone):%a %d %b, %H:%M}")
        self.turn_to(visit.starts_at + timedelta(minutes=10))
        amount = self.pay(commission, "card", deposit=False)
        bench.hand_over(commission, self.owner, note="Looked over together")
        self.told(f"The balance of {said(amount)} is paid, and the pieces go home")
        return commission

    def _others(self) -> None:
        zone = self.calendar.zone
        self.days_ago(12, 11, 0)
        cabinet, client = self.ask("cabinet", ["card-cabinet-before"])
        self.days_ago(11, 19, 30)
        quote = self.quote("cabinet", cabinet, starts=6, ready=26)
        self.days_ago(10, 7, 45)
        self.accept(quote, client)
        self.days_ago(9, 17, 0)
        self.pay(cabinet, "cash", deposit=True)
        self.days_ago(9, 17, 20)
        visit = self.book(cabinet, "drop-off", client)
        self.turn_to(visit.starts_at + timedelta(minutes=15))
        bench.check_in(cabinet, timezone.localdate(timezone=zone), self.owner)
        self.days_ago(3, 8, 30)
        bench.begin_work(cabinet, self.owner)
        self.propose(cabinet, "cabinet", "first", "board-harvest-oak")
        name = self.words["cabinet"]["name"]
        self.told(f"{name}’s card cabinet is on the bench and waits for its colour: {cabinet.number}")
        self.days_ago(4, 20, 30)
        mirror, client = self.ask("mirror", ["hall-mirror-before"])
        self.days_ago(3, 19, 15)
        self.quote("mirror", mirror, starts=14, ready=30)
        self.days_ago(1, 12, 5)
        conversation.say_to_shop(
            mirror, "Could the glass stay in its frame for the work? It frightens me to move it.", client
        )
        self.told(f"{self.words['mirror']['name']} has a quote and asks before answering: {mirror.number}")
        chairs = self.words["chairs"]
        self.days_ago(1, 16, 20)
        asked = intake.Asked(
            chairs["name"],
            "",
            chairs["phone"],
            Wish(chairs["wish"]),
            [NewPiece("ladder-back chairs", count=6)],
        )
        noted = intake.note_request(asked, "phone", [self.photo("ladder-backs-before")], self.owner)
        self.days_ago(1, 19, 5)
        low, high = Decimal(chairs["low"]), Decimal(chairs["high"])
        ballpark.send(noted, low, high, chairs["ballpark"], self.owner)
        self.begin_quote("chairs", noted, starts=10, ready=28)
        self.told(
            f"{chairs['name']} calls about six chairs, and has no email: {noted.number}; "
            "what would be emailed is on the list of what to tell"
        )


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
