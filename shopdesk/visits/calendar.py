"""A visit as a file for calendars: iCalendar (RFC 5545), as an invitation by email (RFC 5546 and 6047)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal
from uuid import UUID

from icalendar import Calendar, Event, vCalAddress, vText

Method = Literal["REQUEST", "CANCEL", "PUBLISH"]
"""What the file asks of a calendar: take it up or move it, take it out, or just show it (a download, which
names no guest)."""

PRODUCT = "-//Shopdesk//Visits//EN"


@dataclass(frozen=True)
class Entry:
    """What a calendar is told. `uid` stays the same for the life of a visit, `sequence` rises with each
    change; times are aware."""

    uid: UUID
    sequence: int
    starts_at: datetime
    ends_at: datetime
    summary: str
    location: str
    words: str
    shop_name: str
    shop_email: str
    client_name: str = ""
    client_email: str = ""


def ics(entry: Entry, method: Method, stamp: datetime) -> str:
    """The text of the file, with CRLF and folded lines. `stamp` is when this version of it was made."""
    event = Event()
    # RFC 7986, section 5.3: a UUID and nothing else, so that it outlives the address of the shop.
    event.add("uid", str(entry.uid))
    event.add("sequence", entry.sequence)
    event.add("dtstamp", stamp.astimezone(UTC).replace(microsecond=0))
    event.add("dtstart", entry.starts_at.astimezone(UTC))
    event.add("dtend", entry.ends_at.astimezone(UTC))
    event.add("summary", entry.summary)
    event.add("location", entry.location)
    event.add("description", entry.words)
    event.add("status", "CANCELLED" if method == "CANCEL" else "CONFIRMED")
    event.add("organizer", _person(entry.shop_name, entry.shop_email))
    if method != "PUBLISH":  # RFC 5546, section 3.2.1: what is published names no guest
        guest = _person(entry.client_name, entry.client_email)
        guest.params["role"] = vText("REQ-PARTICIPANT")
        guest.params["partstat"] = vText(
            "ACCEPTED"
        )  # they chose the time themselves: nobody waits for an answer
        guest.params["rsvp"] = vText("FALSE")
        event.add("attendee", guest)
    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", PRODUCT)
    calendar.add("method", method)
    calendar.add_component(event)
    return bytes(calendar.to_ical()).decode()


def _person(name: str, email: str) -> vCalAddress:
    person = vCalAddress(f"mailto:{email}")
    # A quotation mark cannot stand in a parameter, whatever surrounds it (RFC 5545, section 3.1).
    person.params["cn"] = vText(" ".join(name.replace('"', "’").split()))
    return person
