"""What mail programs write around an earlier email, in the languages that they write it in. The phrases are
facts of their output, collected from memory."""

from __future__ import annotations

import re


def _one_of(phrases: str) -> str:
    """A pattern for any of the phrases, which commas divide; the longer ones first."""
    words = [re.escape(" ".join(phrase.split())) for phrase in phrases.split(",")]
    return "|".join(sorted(words, key=len, reverse=True))


_WROTE = _one_of(
    """
    wrote, writes, schrieb, schreibt, geschrieben, a écrit, escribió, escribio, ha escrito, ha scritto,
    scrive, schreef, heeft geschreven, het volgende geschreven, skrev, skreiv, escreveu, napisał,
    napisała, napisał(a), napsal, napsala, napsal(a), napísal, napísala, kirjoitti, írta, yazdı, şunu
    yazdı, написал, написала, написал(а), пишет, писал, пише, написав, έγραψε, a scris, je napisao, je
    napisala, napisao, napisala, je napisal, написа, rašė, kirjutas, skrifaði, ha escrit, va escriure,
    idatzi du, a scríobh, đã viết, menulis, เขียน, כתב, كتب, نوشت, のメール
    """
)
_VERB = re.compile(rf"(?<!\w)(?:{_WROTE})(?!\w)|写道|寫道|님이 작성", re.IGNORECASE)
_ADDRESS = re.compile(r"[^\s<>()\[\]@]{1,64}@[^\s<>()\[\]@]{1,190}")
_DAY_OR_TIME = re.compile(
    r"\b(?:19|20)\d\d\b|(?:19|20)\d\d[年년]|\b\d{1,2}\s?[:.h]\s?\d{2}\b"
    r"|\b\d{1,2}[./-]\d{1,2}[./-]\d{2,4}\b"
)
_COLON = re.compile(r"[:：]\s*\*?\s*$")
_LONGEST = 500

_SENTENCE = re.compile(
    r"(?:(?P<word>[^\W\d_]{2,40})>?\.|(?:[:hH]\d\d|\d{4})\.|[!?…])\s{1,10}(?P<next>[^\W\d_])"
)
_SHORTENED = re.compile(
    _one_of("mr, mrs, ms, dr, prof, st, hr, fr, ltd, inc, co, corp, jr, sr"), re.IGNORECASE
)
_MOST_SMALL_WORDS = 6


def _is_prose(text: str) -> bool:
    """Whether a person wrote this line: a sentence ends within it, or more words are in small letters than
    a mail program puts there."""
    for found in _SENTENCE.finditer(text):
        if found["next"].isupper() and not _SHORTENED.fullmatch(found["word"] or ""):
            return True
    return _small_words(text) > _MOST_SMALL_WORDS


def _small_words(text: str) -> int:
    """How many words begin with a small letter; not short ones, addresses and what stands for "wrote"."""
    words = ("".join(filter(str.isalpha, word)) for word in _VERB.sub(" ", text).split() if "@" not in word)
    return sum(len(word) > 2 and word[0].islower() for word in words)


def introduces(text: str) -> bool:
    """Whether a line says that somebody else's words follow, and when they were written: "On 24 November 2026
    at 15:04, Ottoline Brask <ottoline@example.com> wrote:"."""
    if len(text) > _LONGEST or not _COLON.search(text) or not _DAY_OR_TIME.search(text):
        return False
    return bool(_ADDRESS.search(text) or _VERB.search(text)) and not _is_prose(text)


_BRACKETED = re.compile(rf"<\s?(?:mailto:)?{_ADDRESS.pattern}\s?(?:<mailto:{_ADDRESS.pattern}>)?\s?>")
_TIME = r"\d{1,2}\s?[:.h]\s?\d{2}(?![.\d])"
_CLOCK = re.compile(rf"(?<![.\d]){_TIME}")
_WRITTEN = rf"(?:{_VERB.pattern})(?:\(\w{{1,2}}\))?"
_BEHIND = re.compile(
    rf"[\s,]*(?:(?:[于於]?\s?\d.{{1,40}}|\w{{1,5}}\s)?{_WRITTEN}|"
    rf"(?:\w{{1,5}}\s)?{_WRITTEN}.{{1,40}}{_TIME}(?::\d\d)?(?:\s?[ap]\.?\s?m\.?)?\)?)?\s*[:：]\s*\*?\s*$",
    re.IGNORECASE,
)
_BEGINS_WITH_DAY = re.compile(r"\W{0,3}(?:\S{1,20}\s{1,3}){0,3}\d")


def introduces_surely(text: str) -> bool:
    """The same as no person writes it by hand: when, a name, the address of who wrote in brackets, "wrote",
    and next to no other word."""
    found = _BRACKETED.search(text) if introduces(text) else None
    if found is None:
        return False
    before, behind = text[: found.start()], text[found.end() :]
    if any(map(str.isdigit, before)) and not _BEGINS_WITH_DAY.match(before):
        return False
    if _small_words(re.split(r"\d", before)[-1]) > 1 or not _BEHIND.match(behind):
        return False
    return bool(_VERB.search(behind) or _CLOCK.search(before))


def may_introduce(text: str) -> bool:
    """Whether a line that stands right before a quoted one introduces it."""
    if len(text) > _LONGEST or _is_prose(text):
        return False
    return bool(_COLON.search(text) and (_VERB.search(text) or _ADDRESS.search(text)))


def begins_introduction(text: str) -> bool:
    """Whether a line, or several as one, opens as an introduction does: with a day."""
    return bool(_OPENING.match(text.strip()) and _BEGINS_WITH_DAY.match(text))


_OPENING = re.compile(
    r"(?:(?:On|Am|Le|El|Il|Op|Den|Em|No dia|Dnia|W dniu|Dne|Pe|În|La|Στις)\b|\d{1,4}[./年-]|"
    r"(?:mo|di|mi|do|fr|sa|so|lun|mar|mer|jeu|ven|sam|dim|mon|tue|wed|thu|fri|sat|sun)[a-z]{0,6}[.,]|"
    r"[^\W\d]{1,5}[.,]{0,2}\s\d{1,2}[.\s].{2,20}\b20\d\d\b)",
    re.IGNORECASE,
)

_EARLIER = _one_of(
    """
    original message, original email, original appointment, forwarded message, reply message, reply above
    this line, ursprüngliche nachricht, originalnachricht, original-nachricht, weitergeleitete nachricht,
    message d'origine, message original, message transféré, message initial, mensaje original, mensaje
    reenviado, messaggio originale, messaggio inoltrato, oorspronkelijk bericht, origineel bericht,
    doorgestuurd bericht, ursprungligt meddelande, originalmeddelande, vidarebefordrat meddelande,
    oprindelig meddelelse, videresendt meddelelse, opprinnelig melding, videresendt melding, mensagem
    original, mensagem encaminhada, mensagem reencaminhada, wiadomość oryginalna, oryginalna wiadomość,
    wiadomość przekazana, treść przekazanej wiadomości, původní zpráva, přeposlaná zpráva, pôvodná správa,
    alkuperäinen viesti, välitetty viesti, eredeti üzenet, továbbított üzenet, orijinal mesaj, özgün
    ileti, iletilen mesaj, исходное сообщение, пересылаемое сообщение, пересланное сообщение, оригінальне
    повідомлення, αρχικό μήνυμα, mesaj original, mesajul original, 原始邮件, 原始郵件, 转发邮件,
    元のメッセージ, 転送メッセージ, 원본 메시지, 원본 메일, message d’origine
    """
)
_RULE = r"[-_=*–—~>\s]{2,80}"
_DIVIDER = re.compile(rf"^{_RULE}(?:{_EARLIER}|forwarded by .{{1,80}})\s*:?{_RULE}$", re.IGNORECASE)
_BARE_FORWARD = re.compile(
    "^(?:"
    + _one_of(
        """
        begin forwarded message, anfang der weitergeleiteten nachricht, anfang der weitergeleiteten e-mail,
        début du message réexpédié, début du message transféré, inizio messaggio inoltrato,
        inizio del messaggio inoltrato, inicio del mensaje reenviado, begin doorgestuurd bericht,
        vidarebefordrat brev, start på videresendt besked, videresendt melding,
        início da mensagem encaminhada, início da mensagem reenviada, początek przekazywanej wiadomości,
        začátek přeposílané zprávy, välitetty viesti alkaa, начало переадресованного сообщения,
        начало переадресованного письма, 下面是被转发的邮件, 転送されたメッセージ
        """
    )
    + r")\s*[:：]\s*$",
    re.IGNORECASE,
)
_FORWARD = re.compile(
    _one_of(
        """
        forward, weitergeleitet, transféré, réexpédié, inoltrat, reenviad, doorgestuurd, vidarebefordra,
        videresend, encaminhad, reencaminhad, przekaz, přepos, välitet, továbbít, iletilen, пересла,
        пересыла, переадрес, 转发, 転送
        """
    ),
    re.IGNORECASE,
)
_LINE_OF_MARKS = re.compile(r"^\s*(?:[-_=*–—]\s?){5,}\s*$")


def divides(text: str) -> bool:
    """Whether a line says that an earlier email follows ("-----Original Message-----")."""
    text = text.strip()
    return len(text) <= _LONGEST and bool(_DIVIDER.match(text) or _BARE_FORWARD.match(text))


def forwards(text: str) -> bool:
    """Whether a dividing line speaks of a forwarded email."""
    return bool(_FORWARD.search(text))


def is_rule(text: str) -> bool:
    return len(text) <= _LONGEST and bool(_LINE_OF_MARKS.match(text))


_LABELS = {
    "from": _one_of(
        """
        from, von, de, da, van, från, fra, od, от, від, lähettäjä, feladó, kimden, gönderen, από, de la,
        发件人, 寄件者, 差出人, 보낸 사람
        """
    ),
    "date": _one_of(
        """
        sent, date, gesendet, datum, gesendet am, envoyé, envoyé le, enviado, enviado el, enviado em,
        fecha, data, inviato, data di invio, verzonden, verzonden op, skickat, skickades, sendt, dato,
        wysłano, data wysłania, odesláno, odoslané, dátum, отправлено, дата, надіслано, lähetetty,
        päivämäärä, päiväys, elküldve, küldve, gönderilme tarihi, gönderildi, tarih, στάλθηκε, ημερομηνία,
        trimis, 发送时间, 日期, 寄件日期, 送信日時, 日付, 보낸 날짜, 날짜
        """
    ),
    "to": _one_of(
        """
        to, an, à, a, para, naar, aan, till, til, do, komu, кому, vastaanottaja, címzett, kime, alıcı,
        προς, către, către, 收件人, 宛先, 받는 사람, cc, kopie, copie, copia, kopia, kopi, копия, reply-to,
        antwort an, répondre à, responder a, rispondi a
        """
    ),
    "subject": _one_of(
        """
        subject, betreff, objet, sujet, asunto, oggetto, onderwerp, ämne, emne, assunto, temat, předmět,
        predmet, тема, aihe, tárgy, konu, θέμα, subiect, 主题, 主旨, 件名, 제목
        """
    ),
}
_LABEL = re.compile(
    r"^\s*[*_]{0,2}(?:" + "|".join(f"(?P<{kind}>{words})" for kind, words in _LABELS.items()) + r")"
    r"\s{0,3}[*_]{0,2}\s?[:：][*_]{0,2}(?:\s|$)",
    re.IGNORECASE,
)
_HEADER_LINES = 14


def header_block(texts: list[str], *, divided: bool = False) -> int:
    """How many of these lines are the head of an earlier email as it is written into a reply: who from, when
    and to whom or about what, one a line. 0 when they are none. Below a line that divides (`divided`) it need
    not be whole."""
    kinds: set[str] = set()
    loose = end = 0
    for index, text in enumerate(texts[:_HEADER_LINES]):
        label = _LABEL.match(text) if len(text) <= _LONGEST * 4 else None
        if label:
            kinds.add(str(label.lastgroup))
            loose, end = 0, index + 1
        elif not text.strip() or loose >= 2 or not index:
            break
        else:  # a value that went on in the next line
            loose += 1
    said = " ".join(texts[:end])
    sure = divided or (
        "from" in kinds and len(kinds) >= 3 and ("subject" in kinds or bool(_ADDRESS.search(said)))
    )
    return end if sure else 0


_MY = r"(?:my|meine[mr]?|mon|mi|il mio|meu|mijn|mit|min)"
_WHAT = r"([\w’'()+ .-]{2,60}?)"
_SENT = re.compile(
    r"^[-–—_*\s]{0,10}(?:"
    rf"sent (?:from|(?:via|using|with) {_MY}) {_WHAT}"
    rf"|(?:diese nachricht wurde )?(?:von|(?:mit|aus) {_MY}) {_WHAT} (?:aus )?(?:gesendet|verschickt)"
    rf"|(?:diese nachricht wurde )?(?:gesendet|verschickt) (?:von|(?:mit|aus) {_MY}) {_WHAT}"
    rf"|envoyée? (?:de|depuis|à partir d[eu]|avec {_MY}) {_WHAT}"
    rf"|enviad[oa] (?:desde|do|de|pelo|a partir d[eo]|con {_MY}) {_WHAT}"
    rf"|inviato (?:dal?|con {_MY}) {_WHAT}"
    rf"|(?:verzonden|verstuurd) (?:van|vanaf|vanuit|(?:met|via) {_MY}) {_WHAT}"
    rf"|(?:skickat från|sendt fra|wysłan[oey] z|odesláno z|lähetetty|отправлено (?:с|из)|gönderildi) {_WHAT}"
    rf"|{_WHAT}(?:から送信|에서 보냄)|(?:发自|來自)我的\s?{_WHAT}"
    r")(?:\s*[<(]?https?://\S{1,200}[>)]?)?\s*[.…]?\s*$",
    re.IGNORECASE,
)
_GET = re.compile(
    r"^get [\w ]{2,30} for (?:ios|ipados|android|macos)(?:\s*[<(]?https?://\S{1,200}[>)]?)?\s*[.…]?\s*$",
    re.IGNORECASE,
)
_DEVICES = re.compile(
    r"(?:iphon|ipad|android|smartphone|telefon|telefoon|teléfono|téléphone|puhelim|телефон|мобильн)\w*"
    r"|(?:phone|telephone|mobile|mobil|handset|cellphone|device|tablet|computer|laptop|ipod|mac|macbook|imac"
    r"|ios|ipados|macos|windows|galaxy|pixel|xperia|blackberry|handy|mobiltelefon|mobilgerät|endgerät"
    r"|portable|appareil|móvil|celular|dispositivo|cellulare|mobiel|toestel|apparaat|telemóvel)",
    re.IGNORECASE,
)
_BESIDES = re.compile(
    _one_of(
        """
        my, meinem, meiner, mein, mon, mi, mio, il, mijn, meu, mitt, mit, min, mojego, the, a, an, for, für,
        pour, para, per, voor, för, til, på, on, auf, sur, using, with, avec, gerät, app
        """
    ),
    re.IGNORECASE,
)


def names_a_device(text: str) -> bool:
    """Whether a line is what a telephone writes below an email ("Sent from my …"): it names a device or its
    system, and beside it only names."""
    if len(text) > 300:
        return False
    found = _SENT.match(text)
    words = re.findall(r"\w+", next(filter(None, found.groups()))) if found else []
    named = [bool(_DEVICES.fullmatch(word)) for word in words]
    rest = [word for word, device in zip(words, named, strict=True) if not device]
    names = all(not word[0].islower() or _BESIDES.fullmatch(word) for word in rest)
    return bool(_GET.match(text)) or (any(named) and names)
