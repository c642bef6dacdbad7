"""Somebody's own words that look like what mail programs write around a quotation: they stay. What is not cut
off is only ugly, what is cut off may never be read. People, words and addresses are invented."""

from __future__ import annotations

from html import escape

import pytest

from shopdesk.mail.hypertext import lines_of_html
from shopdesk.mail.lines import lines_of
from shopdesk.mail.quoted import Cut, cut

LIST = "- no stain\n- brass knobs"
SHOP = "Tidewell Bench <hello@tidewell.example.com>"
QUESTION = "<div>Dear Ottoline,</div><div>which of the two?</div>"


def plain(text: str) -> Cut:
    return cut(lines_of(text))


def rich(markup: str) -> Cut:
    return cut(lines_of_html(markup))


# -- Introductions -------------------------------------------------------------------------------------------

COLONS = {
    "a date and an address": "We move on 12/03/2026, so please write to anna@new.example from then on. "
    "What I would like changed:",
    "in brackets": "We move on 12/03/2026, so please write to Anna Brask <anna@new.example>. "
    "What I would like changed:",
    "it begins like one": "On 12/03/2026 we move; write to Anna Brask <anna@new.example>. What I would like "
    "changed:",
    "nothing behind the address": "Starting 12/03/2026, send all of this to Anna Brask <anna@new.example>:",
    "a time, nothing behind": "On 12/03/2026 at 15:00 you can reach my sister Anna <anna@new.example>:",
    "German": "Am 03.12.2026 ziehen wir um, dann bitte an anna@new.example schreiben. "
    "Was ich gern anders hätte:",
    "a contact, a day, a heading": "Anna Brask <anna@new.example>\n12/03/2026\nThe sizes:",
    "a contact and a day": "Anna Brask <anna@new.example>\n12/03/2026:",
    "a day above a contact": "Come on 12/03/2026.\nAnna Brask <anna@new.example> wrote:",
}


@pytest.mark.parametrize("line", COLONS.values(), ids=COLONS)
def test_a_line_of_ones_own_that_ends_in_a_colon(line: str) -> None:
    said = f"Hi Runa,\n\n{line}\n{LIST}"
    assert (plain(said).words, plain(said).quoted) == (said, "")


@pytest.mark.parametrize("line", COLONS.values(), ids=COLONS)
def test_in_html_too(line: str) -> None:
    lines = "".join(f"<div>{escape(one)}</div>" for one in line.split("\n"))
    found = rich(f"<p>Hi Runa,</p>{lines}<div>- no stain</div><div>- brass knobs</div>")
    assert (found.words, found.quoted) == (f"Hi Runa,\n\n{line}\n{LIST}", "")


def test_a_list_that_is_moved_in_is_no_quotation() -> None:
    line = COLONS["a date and an address"]
    found = rich(f"<div>Hi Runa,</div><div>{line}</div><blockquote>no stain<br>brass knobs</blockquote>")
    assert found.words == f"Hi Runa,\n{line}\n\nno stain\nbrass knobs"


@pytest.mark.parametrize(
    "own",
    [
        "I can come at 10:30.",
        "Can do at 10:30",
        "On Tuesday I can come at 10:30.",
        "On Friday I can be there at 10:30",
        "Only one thing, at 10:30.",
        "Am Freitag geht es nicht.",
        "We move on 12/03/2026, so please write to anna@new.example.",
    ],
)
@pytest.mark.parametrize(
    "introduction", ["You wrote:", f"{SHOP} wrote:", f"{SHOP} wrote on 24.11.2026 15:04:"]
)
def test_a_line_above_an_introduction_is_no_part_of_it(own: str, introduction: str) -> None:
    found = plain(f"{own}\n{introduction}\n> Which of the two?")
    assert (found.words, found.quoted) == (own, f"{introduction}\n> Which of the two?")


@pytest.mark.parametrize(
    "line",
    [
        "I would take the darker one. On 12/03/2026 we move. You asked at 10:30:",
        "No white on the inside of the drawers, please, since on 12/03/2026 you said:",
    ],
)
def test_a_paragraph_that_leads_to_a_quoted_line_stays(line: str) -> None:
    assert plain(f"{line}\n> Which of the two?\nThe darker one.").words == f"{line}\n\nThe darker one."


@pytest.mark.parametrize(
    "introduction",
    [
        "ti 24. marrask. 2026 klo 15.04 Tidewell Bench <\nhello@tidewell.example.com> kirjoitti:",
        f"út 24. 11. 2026 v 15:04 odesílatel\n{SHOP} napsal:",
        f"On Tue, Nov 24, 2026 at 3:04 PM\n{SHOP}\nwrote:",
        "On Tue, Nov 24, 2026 at 3:04 PM Tidewell Bench <hello@tidewell.example.com\n"
        "<mailto:hello@tidewell.example.com>> wrote:",
        f"El mar, 24 nov 2026 a las 3:04 p.\u00a0m., {SHOP} escribió:",
        f"{SHOP}, 24 Kas 2026 Sal, 15:04 tarihinde şunu yazdı:",
        f"{SHOP} ezt írta (időpont: 2026. nov. 24., K, 15:04):",
        f"2026년 11월 24일 (화) 오후 3:04, {SHOP}님이 작성:",
        f"On Tuesday, November 24, 2026, {SHOP} wrote:",
    ],
)
@pytest.mark.parametrize("mark", ["> ", ""], ids=["marked", "without marks"])
def test_what_programs_write_is_still_an_introduction(introduction: str, mark: str) -> None:
    found = plain(f"Thanks,\nOttoline\n\n{introduction}\n\n{mark}Which of the two?")
    assert found.words == "Thanks,\nOttoline"
    assert found.quoted.startswith(introduction)


# -- Telephones ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "last",
    [
        "- keep the old lock\n- get new handles for both",
        "- keep the sills\n- get new panes for windows",
        "- get Tallow for iOS",
        "The knobs are on the way.\n\nSent via Gullpost.",
        "Die Griffe sind unterwegs.\n\nGesendet mit Gullpost",
        "De knoppen zijn onderweg.\n\nVerstuurd met Gullpost.",
        "Les boutons arrivent.\n\nEnvoyé avec Gullpost.",
        "Los tiradores.\n\nEnviado con Gullpost",
        "Le maniglie.\n\nInviato con Gullpost",
        "The deposit is on its way.\n\nSent from my bank account",
        "The deposit is on its way.\n\nSent from my phone because the laptop broke",
        "The pictures are on the way.\nSent from my phone.",
        "Les boutons.\n\nEnvoyé de Nantes",
        "Get back to me for details.",
    ],
)
def test_a_last_line_of_ones_own_is_no_telephones(last: str) -> None:
    for said in (last, f"Hi Runa,\n\n{last}"):
        assert (plain(said).words, plain(said).quoted) == (said, "")


@pytest.mark.parametrize(
    "line",
    [
        "Sent from my iPhone",
        "Sent from my Galaxy S9+",
        "Sent from my Samsung Galaxy smartphone.",
        "Sent from Tallow for iOS",
        "Sent from Tallow Mail on Android",
        "Sent via my mobile",
        "Get Tallow for iOS",
        "Get Tallow for Android <https://tallow.example.com/get>",
        "Gesendet von meinem Android-Telefon",
        "Diese Nachricht wurde von meinem Android-Gerät mit Tallow Mail gesendet.",
        "Von meinem Samsung Galaxy Smartphone gesendet.",
        "Envoyé depuis mon téléphone portable",
        "Envoyé à partir de Tallow pour iOS",
        "Enviado desde Tallow para Android",
        "Inviato da iPhone",
        "Verstuurd vanaf mijn iPad",
        "Sendt fra min telefon",
        "Wysłane z iPhone'a",
        "Odesláno z iPhonu",
        "Lähetetty iPhonesta",
        "Отправлено с iPhone",
        "iPhoneから送信",
        "나의 iPhone에서 보냄",
        "发自我的 iPhone",
    ],
)
def test_what_telephones_write(line: str) -> None:
    found = plain(f"The darker one.\n\n{line}")
    assert (found.words, found.quoted) == ("The darker one.", line)


# -- Containers ----------------------------------------------------------------------------------------------

CONTAINERS = [
    'class="yahoo_quoted"',
    'id="yahoo_quoted_7" class="x_yahoo_quoted"',
    'class="ms-outlook-mobile-reference-message skipProofing"',
    'id="mail-editor-reference-message-container"',
    'id="OLK_SRC_BODY_SECTION"',
]
HEADS = {
    "bare": "",
    "introduced": f"<div>On 24 Nov 2026 15:04, {escape(SHOP)} wrote:</div>",
    "a head": "<div>From: Tidewell Bench<br>Sent: 24 November 2026<br>To: Otti<br>Subject: Yours</div>",
    "a marked head": '<hr><div id="divRplyFwdMsg"><b>Lähettäjä:</b> Runa</div>',
    "a divider": "<div>-----Original Message-----</div>",
    "half a signed text": "<div>-----BEGIN PGP SIGNATURE-----</div>",
    "a signature": "<div>--</div><div>Runa</div>",
}


@pytest.mark.parametrize("container", CONTAINERS)
@pytest.mark.parametrize("head", HEADS.values(), ids=HEADS)
def test_an_answer_below_a_container_stays(container: str, head: str) -> None:
    found = rich(
        f"<div>Hi Runa,</div><div {container}>{head}{QUESTION}</div>"
        "<div>The darker one, and stop the stain.</div>"
    )
    assert found.words == "Hi Runa,\n\nThe darker one, and stop the stain."
    assert found.quoted.endswith("which of the two?")


def test_an_inline_container_closes_too() -> None:
    found = rich(
        f'<div>Hi Runa,</div><span id="OLK_SRC_BODY_SECTION"><span class="gmail_signature">Runa</span>'
        f"{QUESTION}</span><div>The darker one.</div>"
    )
    assert found.words == "Hi Runa,\n\nThe darker one."


def test_what_leads_to_a_container_goes_with_it() -> None:
    found = rich(
        f'<p>The darker one.</p><hr><p>Runa wrote:</p><div class="yahoo_quoted">{QUESTION}</div>'
        "<p>Soon, please.</p>"
    )
    assert found.words == "The darker one.\n\nSoon, please."


def test_a_container_may_hold_what_was_passed_on() -> None:
    found = rich(
        '<div>See below.</div><div class="yahoo_quoted"><div>----- Forwarded Message -----</div>'
        f"<div>From: Runa</div>{QUESTION}</div>"
    )
    assert (found.words, found.forwarded) == ("See below.", True)


@pytest.mark.parametrize("mark", ['id="divRplyFwdMsg"', 'style="border:none;border-top:solid #E1E1E1 1.0pt"'])
def test_below_a_separator_all_is_the_earlier_email(mark: str) -> None:
    found = rich(f"<div>Hi Runa,</div><div {mark}><b>Lähettäjä:</b> Runa</div>{QUESTION}")
    assert found.words == "Hi Runa,"
