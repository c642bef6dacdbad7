"""What somebody wrote, cut from what they quote: by what mail programs write around it, in their
languages, in plain text and in HTML. The forms are as such programs write them, from memory; people and
words are invented."""

from __future__ import annotations

import pytest

from shopdesk.mail.hypertext import lines_of_html
from shopdesk.mail.lines import lines_of
from shopdesk.mail.quoted import Cut, cut

OWN = "Yes, the darker one.\n\nAnd could it be ready by 3 December?"
SHOP = "Tidewell Bench <hello@tidewell.example.com>"


def plain(text: str) -> Cut:
    return cut(lines_of(text))


def rich(markup: str) -> Cut:
    return cut(lines_of_html(markup))


INTRODUCTIONS = {
    "English": f"On Tue, Nov 24, 2026 at 3:04 PM {SHOP} wrote:",
    "English, folded": "On Tue, Nov 24, 2026 at 3:04 PM Tidewell Bench <\nhello@tidewell.example.com> wrote:",
    "English, folded twice": "On Tue,\nNov 24, 2026 at 3:04 PM Tidewell Bench\n"
    "<hello@tidewell.example.com> wrote:",
    "English, name first": f"{SHOP} wrote on 24.11.2026 15:04:",
    "German": f"Am Di., 24. Nov. 2026 um 15:04 Uhr schrieb {SHOP}:",
    "French": f"Le mar. 24 nov. 2026 à 15:04, {SHOP} a écrit :",
    "French, no-break space": f"Le mar. 24 nov. 2026 à 15:04, {SHOP} a écrit\u00a0:",
    "Spanish": f"El mar, 24 nov 2026 a las 15:04, {SHOP} escribió:",
    "Italian": f"Il giorno mar 24 nov 2026 alle ore 15:04 {SHOP} ha scritto:",
    "Dutch": f"Op di 24 nov 2026 om 15:04 schreef {SHOP}:",
    "Swedish": f"Den tis 24 nov. 2026 kl 15:04 skrev {SHOP}:",
    "Danish": f"Den tirs. 24. nov. 2026 kl. 15.04 skrev {SHOP}:",
    "Portuguese": f"Em ter., 24 de nov. de 2026 às 15:04, {SHOP} escreveu:",
    "Polish": f"wt., 24 lis 2026 o 15:04 {SHOP} napisał(a):",
    "Czech": f"út 24. 11. 2026 v 15:04 odesílatel {SHOP} napsal:",
    "Finnish": f"ti 24. marrask. 2026 klo 15.04 {SHOP} kirjoitti:",
    "Russian": f"вт, 24 нояб. 2026 г. в 15:04, {SHOP}:",
    "Japanese": f"2026年11月24日(火) 15:04 {SHOP}:",
    "Chinese": f"{SHOP} 于2026年11月24日周二 15:04写道：",
    "a language that nobody listed": f"Ar 24 Tach 2026 15:04, ysgrifennodd {SHOP}:",
}


@pytest.mark.parametrize("introduction", INTRODUCTIONS.values(), ids=INTRODUCTIONS)
@pytest.mark.parametrize("mark", ["> ", ""], ids=["marked", "without marks"])
def test_an_introduction_and_what_follows(introduction: str, mark: str) -> None:
    theirs = f"{introduction}\n\n{mark}Dear Ottoline,\n{mark}which of the two?"
    found = plain(f"{OWN}\n\n{theirs}\n")
    assert found.words == OWN
    assert found.quoted == theirs.replace("\u00a0", "\u00a0")


@pytest.mark.parametrize(
    "introduction",
    ["On 11/24/26 15:04, Tidewell Bench wrote:", "Tidewell Bench wrote:", "Tidewell Bench schrieb:"],
)
def test_an_introduction_without_an_address_needs_marks_below_it(introduction: str) -> None:
    marked = plain(f"{OWN}\n\n{introduction}\n> Which of the two?")
    assert (marked.words, marked.quoted) == (OWN, f"{introduction}\n> Which of the two?")
    bare = f"On Tuesday at 10:30 my mother wrote:\n{introduction}\nplease use the dark stain.\nLet us do so."
    assert plain(bare).words == bare
    assert plain(bare).quoted == ""


DIVIDERS = {
    "English": "-----Original Message-----\nFrom: Tidewell Bench\nSent: Tuesday, November 24, 2026 3:04 PM\n"
    "To: Ottoline Brask\nSubject: Your sideboard",
    "German": "-----Ursprüngliche Nachricht-----\nVon: Tidewell Bench <hello@tidewell.example.com>\n"
    "Gesendet: Dienstag, 24. November 2026 15:04\nAn: Ottoline Brask\nBetreff: Ihre Anrichte",
    "underscores": "________________________________\nFrom: Tidewell Bench <hello@tidewell.example.com>\n"
    "Sent: Tuesday, November 24, 2026 3:04 PM\nTo: Ottoline Brask\nSubject: Your sideboard",
    "block alone, French": "De : Tidewell Bench <hello@tidewell.example.com>\nEnvoyé : mardi 24 "
    "novembre 2026 15:04\n"
    "À : Ottoline Brask\nObjet : Votre buffet",
    "block alone, Spanish": "De: Tidewell Bench\nEnviado el: martes, 24 de noviembre de 2026 15:04\n"
    "Para: Ottoline Brask\nAsunto: Su aparador",
    "block alone, Italian": "Da: Tidewell Bench\nInviato: martedì 24 novembre 2026 15:04\nA: Ottoline Brask\n"
    "Oggetto: La credenza",
    "block alone, Dutch": "Van: Tidewell Bench\nVerzonden: dinsdag 24 november 2026 15:04\nAan: "
    "Ottoline Brask\n"
    "Onderwerp: Uw dressoir",
    "block alone, Swedish": "Från: Tidewell Bench\nSkickat: den 24 november 2026 15:04\nTill: Ottoline "
    "Brask\n"
    "Ämne: Skänken",
    "block alone, Portuguese": "De: Tidewell Bench\nEnviada em: terça-feira, 24 de novembro de 2026 15:04\n"
    "Para: Ottoline Brask\nAssunto: O aparador",
    "block alone, stars": "*From:* Tidewell Bench <hello@tidewell.example.com>\n*Sent:* Tuesday, "
    "November 24, 2026\n"
    "*To:* Ottoline Brask; Corin Vale;\n    Maud Tarn\n*Subject:* Your sideboard",
    "block alone, Chinese": "发件人: Tidewell Bench\n发送时间: 2026年11月24日 15:04\n"
    "收件人: Otti\n主题: 餐边柜",
}


@pytest.mark.parametrize("divider", DIVIDERS.values(), ids=DIVIDERS)
def test_a_divider_or_the_head_of_an_email(divider: str) -> None:
    theirs = f"{divider}\n\nDear Ottoline,\n\nwhich of the two?\n\nRuna"
    found = plain(f"{OWN}\n\n{theirs}")
    assert (found.words, found.quoted) == (OWN, theirs)


def test_opening_hours_are_no_head_of_an_email() -> None:
    said = "I can come by.\n\nFrom: 10 am\nTo: 5 pm\nDate: 3 December"
    assert plain(said).words == said


def test_answers_below_and_between_stay() -> None:
    found = plain(
        "Hello Runa,\n\nOn 24 Nov 2026, at 15:04, Tidewell Bench <hello@tidewell.example.com> wrote:\n\n"
        "> Which of the two?\n\nThe darker one.\n\n> And the feet?\n>> They were black.\n\nAs they "
        "are.\n\nOttoline"
    )
    assert found.words == "Hello Runa,\n\nThe darker one.\n\nAs they are.\n\nOttoline"
    assert "> Which of the two?" in found.quoted
    assert ">> They were black." in found.quoted


def test_an_answer_below_all_of_the_quoted() -> None:
    found = plain("> Which of the two?\n> Runa\n\nThe darker one.")
    assert (found.words, found.quoted) == ("The darker one.", "> Which of the two?\n> Runa")


def test_an_original_message_with_marks_may_be_answered_below() -> None:
    found = plain("-----Original Message-----\nFrom: Runa\n> Which of the two?\n\nThe darker one.")
    assert found.words == "The darker one."


@pytest.mark.parametrize("said", ["The top is\n>50 cm wide", ">50 cm is too wide"])
def test_more_than_is_no_quotation(said: str) -> None:
    assert plain(said).words == said


# RFC 3676, section 4.3: the line "-- " begins a signature.
@pytest.mark.parametrize("line", ["-- ", "--"])
def test_a_signature_is_cut_off_and_kept(line: str) -> None:
    found = plain(f"{OWN}\n{line}\nOttoline Brask\n3 Gull Steps\n\n{INTRODUCTIONS['English']}\n> Which?")
    assert found.words == OWN
    assert found.quoted.startswith("--\nOttoline Brask\n3 Gull Steps")


def test_two_dashes_above_a_long_text_are_no_signature() -> None:
    said = "First.\n--\n" + "\n".join(f"And thing number {number}." for number in range(12))
    assert plain(said).words == said


@pytest.mark.parametrize(
    "line",
    [
        "Sent from my telephone",
        "Von meinem Telefon gesendet",
        "Envoyé de mon téléphone",
        "Enviado desde mi teléfono",
        "Inviato dal mio telefono",
        "Verzonden vanaf mijn telefoon",
        "Skickat från min telefon",
        "Enviado do meu telefone",
    ],
)
def test_a_telephones_line(line: str) -> None:
    found = plain(f"{OWN}\n\n{line}\n\n{INTRODUCTIONS['English']}\n> Which of the two?")
    assert found.words == OWN
    assert found.quoted.startswith(line)


def test_a_telephones_line_within_a_text_stays() -> None:
    said = "Sent from my telephone, so it is short.\nMore tonight."
    assert plain(said).words == said


def test_a_text_signed_in_the_open() -> None:
    found = plain(
        "-----BEGIN PGP SIGNED MESSAGE-----\nHash: SHA512\n\nThe darker one.\n-----BEGIN PGP "
        "SIGNATURE-----\n\n"
        "iHUEARYKAB0=\n-----END PGP SIGNATURE-----"
    )
    assert found.words == "The darker one."


def test_a_forward_says_so() -> None:
    found = plain(f"---------- Forwarded message ---------\n{DIVIDERS['underscores']}\n\nDear Ottoline")
    assert (found.words, found.forwarded) == ("", True)
    assert "Dear Ottoline" in found.quoted


# -- HTML ----------------------------------------------------------------------------------------------------

ANSWER = "<div>Yes, the darker one.</div>"
QUESTION = "Dear Ottoline,<br>which of the two?"
HTML = {
    "cited": f'{ANSWER}<br><div>On 24 Nov 2026, Runa wrote:</div><blockquote type="cite">'
    f"{QUESTION}</blockquote>",
    "quote": f'{ANSWER}<br><div class="gmail_quote gmail_quote_container"><div dir="ltr" '
    f'class="gmail_attr">Ar 24 '
    f'Tach, Runa:<br></div><blockquote class="gmail_quote" style="margin:0 0 0 .8ex">'
    f"{QUESTION}</blockquote></div>",
    "reply head": f'{ANSWER}<hr style="width:98%"><div id="divRplyFwdMsg"><b>Lähettäjä:</b> Runa<br><b>'
    f"X:</b> Y</div>"
    f"<div>{QUESTION}</div>",
    "ruled off": f'<p class="MsoNormal">Yes, the darker one.</p><div '
    f'style="border:none;border-top:solid #E1E1E1 '
    f'1.0pt;padding:3.0pt 0in 0in 0in"><p><b>Ó:</b> Runa</p></div><p>{QUESTION}</p>',
    "prefix": f'{ANSWER}<div class="moz-cite-prefix">24/11, Runa:<br></div><blockquote '
    f'cite="mid:1@example.com">'
    f"{QUESTION}</blockquote>",
    "quoted so": f'{ANSWER}<div id="yahoo_quoted_1" class="yahoo_quoted"><div>{QUESTION}</div></div>',
    "only introduced": f"{ANSWER}<p>{INTRODUCTIONS['English'].replace('<', '&lt;')}</p>"
    f"<blockquote>{QUESTION}</blockquote>",
    "signed": f'{ANSWER}<div class="gmail_signature">which of the two?</div>',
}


@pytest.mark.parametrize("markup", HTML.values(), ids=HTML)
def test_what_html_quotes(markup: str) -> None:
    found = rich(f"<html><body>{markup}</body></html>")
    assert found.words == "Yes, the darker one."
    assert "which of the two?" in found.quoted


def test_answers_between_in_html_stay() -> None:
    found = rich(
        '<div class="gmail_quote"><div class="gmail_attr">On 24 Nov Runa wrote:</div><blockquote '
        'class="gmail_quote">'
        'Which?</blockquote><div>The darker one.</div><blockquote class="gmail_quote">And the '
        "feet?</blockquote>"
        "<div>As they are.</div></div>"
    )
    assert found.words == "The darker one.\n\nAs they are."


def test_a_quotation_that_is_somebodys_own_stays() -> None:
    said = rich("<p>She said:</p><blockquote>Never white.</blockquote><p>And I agree.</p>")
    assert said.words == "She said:\n\nNever white.\n\nAnd I agree."


def test_html_reads_like_its_page() -> None:
    found = rich(
        "<style>p{}</style><title>no</title><p>Three things,   <b>Run</b>a:</p><ul><li>the top<li>the "
        "feet</ul>"
        "<ol><li>first<li>second</ol><pre>a\n  b</pre><table><tr><td>oak</td><td>2</td></tr></table>"
        "<p class=MsoNormal>One</p><p class=MsoNormal>Two<br>Three &lt;script&gt;&nbsp;</p><script>"
        "alert(1)</script>"
        "<a href='https://colours.example.com/teal'>this teal</a> <a href='https://x.example.com'>"
        "x.example.com</a>"
        "<a href='javascript:alert(1)'>press</a> <img alt='🪑' src='https://x.example.com/1.png'>"
    )
    assert found.words == (
        "Three things, Runa:\n\n- the top\n- the feet\n\n1. first\n2. second\n\na\n  b\n\noak  2\n\n"
        "One\nTwo\n"
        "Three <script>\nthis teal (https://colours.example.com/teal) x.example.compress 🪑"
    )


def test_html_deeper_than_the_parser_goes_keeps_its_words() -> None:
    deep = rich("<div>" * 50_000 + "Yes, the darker one." + "</div>" * 50_000 + "<p>And the feet")
    assert deep.words == "Yes, the darker one.\nAnd the feet"
