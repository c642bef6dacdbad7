"""The calendar files against RFC 5545 (iCalendar), RFC 5546 (how invitations are asked) and RFC 6047 (by
email), read by a parser that has nothing to do with the library that writes them."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from email import message_from_bytes
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest
import vobject
from django.core.mail import EmailMessage

from shopdesk.base.who import Who
from shopdesk.commissions.models import Commission, Stage
from shopdesk.visits.actions import book, cancel
from shopdesk.visits.calendar import Entry, Method, ics
from shopdesk.visits.models import Visit
from tests.visits.conftest import some_slots, stand_at

STAMP = datetime(2026, 12, 1, 8, 30, 15, 999, tzinfo=UTC)
ENTRY = Entry(
    uid=UUID("5d0f2c34-6a55-4f43-9bd1-1f0f6f0e8a11"),
    sequence=0,
    starts_at=datetime(2026, 12, 9, 14, 30, tzinfo=ZoneInfo("America/New_York")),
    ends_at=datetime(2026, 12, 9, 15, 0, tzinfo=ZoneInfo("America/New_York")),
    summary="Pickup: writing desk, six chairs and mirror",
    location="Tidewell Bench, 8 Slip Lane, Port Marrin",
    words="Commission 26-014. Call us on 555-0118.",
    shop_name="Tidewell Bench",
    shop_email="hello@tidewell.example.com",
    client_name="Ottoline Brask",
    client_email="ottoline@example.com",
)
NASTY = replace(
    ENTRY,
    summary="Pickup: Müller’s “Sekretär”; 東京の鏡台, " + "sehr " * 40 + "\\ lang\nand a second line",
    shop_name='The "Bench": Sander; Söhne, \r\nInc.',
    client_name="Zoë\nATTENDEE:mailto:mallory@example.com 🪑" + "x" * 90,
)
METHODS: tuple[Method, ...] = ("REQUEST", "CANCEL", "PUBLISH")


def lines(text: str) -> list[str]:
    """Content lines, unfolded (RFC 5545, section 3.1)."""
    return re.sub(r"\r\n[ \t]", "", text).split("\r\n")[:-1]


def event(text: str) -> Any:
    (calendar,) = vobject.readComponents(text)
    (found,) = calendar.vevent_list
    return found


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("entry", [ENTRY, NASTY], ids=["plain", "nasty"])
class TestEveryFile:
    def test_lines_end_with_crlf_and_hold_at_most_75_octets(self, entry: Entry, method: Method) -> None:
        """RFC 5545, section 3.1; a fold is between characters of UTF-8, not inside one (section 3.1, last
        note)."""
        raw = ics(entry, method, STAMP).encode()
        assert raw.endswith(b"END:VCALENDAR\r\n")
        assert raw.count(b"\n") == raw.count(b"\r\n") == raw.count(b"\r")
        for line in raw.split(b"\r\n"):
            assert len(line) <= 75
            line.decode()

    def test_the_calendar_has_its_required_properties_once(self, entry: Entry, method: Method) -> None:
        """RFC 5545, sections 3.6, 3.7.2, 3.7.3, 3.7.4."""
        found = lines(ics(entry, method, STAMP))
        assert found[0] == "BEGIN:VCALENDAR"
        assert found[-1] == "END:VCALENDAR"
        assert found.count("VERSION:2.0") == 1
        assert sum(line.startswith("PRODID:") for line in found) == 1
        assert [line for line in found if line.startswith("METHOD")] == [f"METHOD:{method}"]

    def test_the_event_has_what_it_needs_and_nothing_twice(self, entry: Entry, method: Method) -> None:
        """RFC 5545, section 3.6.1: UID and DTSTAMP always, once; DTEND or DURATION; the rest at most once."""
        names = [re.split("[;:]", line)[0] for line in lines(ics(entry, method, STAMP))]
        inside = names[names.index("BEGIN", 1) + 1 : names.index("END")]
        assert len(inside) == len(set(inside))
        required = {
            "UID",
            "DTSTAMP",
            "DTSTART",
            "DTEND",
            "SUMMARY",
            "LOCATION",
            "SEQUENCE",
            "STATUS",
            "ORGANIZER",
        }
        assert required <= set(inside)
        assert "DURATION" not in inside
        # RFC 5546, sections 3.2.2 and 3.2.5: a request and a cancellation name the guest; section 3.2.1:
        # what is published does not.
        assert ("ATTENDEE" in inside) == (method != "PUBLISH")

    def test_an_independent_parser_reads_back_what_was_said(self, entry: Entry, method: Method) -> None:
        found = event(ics(entry, method, STAMP))
        assert found.dtstart.value == entry.starts_at
        assert found.dtend.value == entry.ends_at
        assert found.dtstamp.value == STAMP.replace(microsecond=0)
        assert found.summary.value == entry.summary
        assert found.location.value == entry.location
        assert found.description.value == entry.words
        assert found.organizer.value == "mailto:hello@tidewell.example.com"
        if method != "PUBLISH":
            (guest,) = found.attendee_list
            assert guest.value == "mailto:ottoline@example.com"

    def test_times_are_utc(self, entry: Entry, method: Method) -> None:
        """RFC 5545, section 3.3.5, form 2: a moment every calendar shows in its own zone, and no VTIMEZONE is
        needed. 14:30 on 9 December in New York is 19:30 UTC."""
        found = lines(ics(entry, method, STAMP))
        assert "DTSTART:20261209T193000Z" in found
        assert "DTEND:20261209T200000Z" in found
        assert "DTSTAMP:20261201T083015Z" in found

    def test_the_status_goes_with_the_method(self, entry: Entry, method: Method) -> None:
        """RFC 5545, section 3.8.1.11; RFC 5546, section 3.2.5: a cancellation says CANCELLED."""
        assert event(ics(entry, method, STAMP)).status.value == (
            "CANCELLED" if method == "CANCEL" else "CONFIRMED"
        )


def test_a_name_cannot_add_a_line() -> None:
    """RFC 5545, section 3.2: parameters hold no control characters and no quotation marks."""
    found = lines(ics(NASTY, "REQUEST", STAMP))
    assert sum(line.startswith("ATTENDEE") for line in found) == 1
    assert not any(line.startswith("mailto:mallory") for line in found)
    (guest,) = event(ics(NASTY, "REQUEST", STAMP)).attendee_list
    assert guest.params["CN"][0].startswith("Zoë ATTENDEE:mailto:mallory@example.com 🪑")


def test_the_uid_is_the_visits_alone() -> None:
    """RFC 7986, section 5.3: a UUID, without a host's name or anything else that could change."""
    moved_house = replace(ENTRY, shop_email="new@elsewhere.example.com", sequence=4)
    uids = {
        event(ics(entry, method, STAMP)).uid.value for entry in (ENTRY, moved_house) for method in METHODS
    }
    assert uids == {str(ENTRY.uid)}


@pytest.fixture
def sent(
    commission: Commission,
    as_client: Who,
    as_owner: Who,
    work: Callable[[], None],
    mailbox: list[EmailMessage],
) -> list[Any]:
    """The calendar parts of the emails of a visit that is booked, moved twice and cancelled."""
    stand_at(commission, Stage.READY)
    first, second, third, *_ = some_slots()
    for slot in (first, second, third):
        book(commission, "pickup", slot.start, as_client)
        work()
    cancel(Visit.objects.get(), as_owner)
    work()
    return [
        part
        for mail in mailbox
        for part in message_from_bytes(mail.message().as_bytes().replace(b"\n", b"\r\n")).walk()
        if part.get_content_type() == "text/calendar"
    ]


@pytest.mark.django_db
def test_a_calendar_follows_the_visit(sent: list[Any]) -> None:
    """RFC 5545, sections 3.8.4.7 (the UID stays) and 3.8.7.4 (SEQUENCE rises with each change); RFC 5546,
    section 2.1.4: the file with the higher sequence holds."""
    events = [event(part.get_payload(decode=True).decode()) for part in sent]
    assert len({one.uid.value for one in events}) == 1
    assert [int(one.sequence.value) for one in events] == [0, 1, 2, 3]
    assert [one.status.value for one in events] == ["CONFIRMED", "CONFIRMED", "CONFIRMED", "CANCELLED"]
    assert events[0].dtstart.value < events[1].dtstart.value < events[2].dtstart.value
    assert events[3].dtstart.value == events[2].dtstart.value
    assert all(one.dtend.value - one.dtstart.value == timedelta(minutes=30) for one in events)


@pytest.mark.django_db
def test_the_mime_part_says_the_method_of_the_file(sent: list[Any]) -> None:
    """RFC 6047, section 2.4: the `method` parameter is the calendar's METHOD, and the charset is given."""
    for part, method in zip(sent, ["REQUEST", "REQUEST", "REQUEST", "CANCEL"], strict=True):
        assert part.get_param("method") == method
        assert part.get_content_charset() == "utf-8"
        raw = part.get_payload(decode=True)
        assert f"METHOD:{method}\r\n".encode() in raw
        assert raw.count(b"\r\n") == raw.count(b"\n")
