"""The mark in the address that answers go to: whole, nobody else's, and short enough for any mail server."""

from __future__ import annotations

import base64
import hashlib
import hmac
import os
import re
import subprocess
import sys
from email.headerregistry import Address
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as configured

from shopdesk.mail import tags
from tests.mail.conftest import Write

INBOX = "hello+{tag}@tidewell.example.com"


@pytest.fixture(autouse=True)
def inbox(settings: Any) -> None:
    settings.INBOX_ADDRESS = INBOX
    settings.SECRET_KEY = "a long walk by the quay, every evening of the year"


@pytest.mark.parametrize(
    "thread", ["commission 1", "commission 12", "commission 12 shop", "commission 9999999999"]
)
def test_a_mark_leads_back_to_its_thread(thread: str) -> None:
    address = tags.reply_address(thread)
    assert tags.thread_of(address) == thread
    assert tags.thread_of(address.upper()) == thread, "a local part may lose its capitals, or win some"
    assert tags.thread_of(f" {address} ") == thread


def test_the_seal_is_the_first_80_bits_of_the_hmac_in_base32() -> None:
    """HMAC by RFC 2104 (its section 5: no fewer than 80 bits), base32 by RFC 4648, section 6."""
    whole = hmac.digest(configured.SECRET_KEY.encode(), b"shopdesk answers to commission 12", hashlib.sha256)
    local = tags.reply_address("commission 12").partition("@")[0]
    seal = local.removeprefix("hello+c12.")
    assert base64.b32decode(seal.upper()) == whole[:10]


def test_it_is_an_address_of_at_most_64_octets_before_the_at(settings: Any) -> None:
    """RFC 5321, 4.5.3.1.1, for the longest that the settings take and ten digits of commissions."""
    settings.INBOX_ADDRESS = "a" * 36 + "{tag}@tidewell.example.com"
    address = tags.reply_address("commission 9999999999 shop")
    local, _, domain = address.partition("@")
    assert len(local.encode()) <= 64
    parsed = Address(addr_spec=address)  # the standard library's own reading of RFC 5322
    assert (parsed.username, parsed.domain) == (local, domain)


def test_each_thread_and_each_key_has_a_seal_of_its_own(settings: Any) -> None:
    made = {tags.reply_address(f"commission {n}{whose}") for n in range(1, 200) for whose in ("", " shop")}
    seals = {address.partition(".")[2] for address in made}
    assert len(seals) == 398
    settings.SECRET_KEY = "another key of another shop, long enough as well"
    assert made.isdisjoint({tags.reply_address("commission 1")})


@pytest.mark.parametrize(
    "change",
    [
        lambda tag: tag.replace("c12.", "c13."),
        lambda tag: tag.replace("c12.", "s12."),
        lambda tag: tag[:-1],
        lambda tag: tag[:-1] + ("a" if tag[-1] != "a" else "b"),
        lambda tag: tag + "a",
        lambda tag: "c12.",
        lambda tag: "c12." + "a" * 16,
        lambda tag: "c12." + "é" * 16,
        lambda tag: "c12.\ud800",
        lambda tag: tag + "\n",
    ],
)
def test_a_mark_that_was_changed_is_forged(change: Any) -> None:
    tag = tags.reply_address("commission 12").removeprefix("hello+").partition("@")[0]
    with pytest.raises(tags.Forged):
        tags.thread_of(INBOX.replace("{tag}", change(tag)))


@pytest.mark.parametrize(
    "address",
    [
        "",
        "hello",
        "hello@tidewell.example.com",
        "hello+@tidewell.example.com",
        "hello+spring@tidewell.example.com",
        "hello+c012.aaaaaaaaaaaaaaaa@tidewell.example.com",
        "hello+c" + "9" * 40 + ".a@tidewell.example.com",
        "hello+c١٢.aaaaaaaaaaaaaaaa@tidewell.example.com",
        "@tidewell.example.com",
        "hello+c12.aaaaaaaaaaaaaaaa@elsewhere.example.com",
        "hello+c12.aaaaaaaaaaaaaaaa@" + "x" * 300,
    ],
)
def test_what_holds_no_mark_is_no_forgery_either(address: str) -> None:
    assert tags.thread_of(address) is None


def test_a_mark_may_be_all_there_is_before_the_at_and_the_domain_of_any_letters(settings: Any) -> None:
    settings.INBOX_ADDRESS = "{tag}@tischlerei-süd.example"
    address = tags.reply_address("commission 7")
    assert tags.thread_of(address) == "commission 7"
    ascii_domain = "tischlerei-süd.example".encode("idna").decode()  # RFC 3490, by the standard library
    assert tags.thread_of(address.replace("tischlerei-süd.example", ascii_domain)) == "commission 7"


@pytest.mark.parametrize("inbox", ["", "hello@tidewell.example.com"])
def test_without_a_place_for_it_there_is_none(settings: Any, inbox: str) -> None:
    settings.INBOX_ADDRESS = inbox
    assert tags.reply_address("commission 12") == ""
    assert tags.thread_of("hello+c12.aaaaaaaaaaaaaaaa@tidewell.example.com") is None


def test_an_email_of_a_conversation_has_it_and_others_have_not(note: Write) -> None:
    assert note(thread="commission 12").reply_to == tags.reply_address("commission 12")
    assert note(thread="commission 12 shop").reply_to == tags.reply_address("commission 12 shop")
    assert note(thread="client 3 link").reply_to == ""
    assert note(thread="").reply_to == ""


@pytest.mark.parametrize(
    ("inbox", "fits"),
    [
        ("", True),
        (INBOX, True),
        ("{tag}@tidewell.example.com", True),
        ("hello.{tag}@tidewell.example.com", True),
        ("hello@tidewell.example.com", False),
        ("hello+{tag}", False),
        ("hello+{tag}@", False),
        ("hello@{tag}.example.com", False),
        ("hello {tag}@tidewell.example.com", False),
        ("hello+{tag}@tidewell .example.com", False),
        ("hello+{tag}{tag}@tidewell.example.com", False),
        (".{tag}@tidewell.example.com", False),
        ("a" * 37 + "{tag}@tidewell.example.com", False),
        ("hello+{tag}@tidewell.example.com, x@example.com", False),
        ("hello+{tag}@tidewell.example.com\r\nBcc: x@example.com", False),
    ],
)
def test_an_address_that_cannot_be_one_is_said_at_the_start(tmp_path: Path, inbox: str, fits: bool) -> None:
    done = subprocess.run(
        [sys.executable, "-c", "import shopdesk.settings"],
        env={**os.environ, "INBOX_ADDRESS": inbox, "SHOPDESK_VAR": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert (done.returncode == 0) == fits, done.stderr
    if not fits:
        assert re.search(
            r"ImproperlyConfigured: INBOX_ADDRESS has to be an address with \{tag\}", done.stderr
        )
