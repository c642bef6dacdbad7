"""Why a mail server did not take an email, in plain words for the owner: enhanced status codes (RFC 3463, and
the registry's additions of RFC 4954, 6531, 7372 and 7505) and SMTP's own replies (RFC 5321, section
4.2.3)."""

from __future__ import annotations

import re
import unicodedata

LONGEST = 300
"""How much is kept of what the server said."""

_BY_DETAIL = {
    "1.1": "There is no such mailbox at their mail server.",
    "1.2": "There is no mail server for the part of the address after the @.",
    "1.3": "The address is not written the way mail servers want it.",
    "1.4": "The address fits more than one mailbox there.",
    "1.6": "They have moved to another address and did not leave it.",
    "1.7": "Their mail server does not like how the shop's own address is written.",
    "1.8": "Their mail server could not find the shop's own address.",
    "1.10": "The part of the address after the @ takes no email at all.",
    "2.1": "Their mailbox is switched off or takes no email.",
    "2.2": "Their mailbox is full.",
    "2.3": "The email is larger than their mailbox takes.",
    "2.4": "The list behind the address does not work.",
    "3.1": "Their mail server has no room left.",
    "3.2": "Their mail server takes no email at the moment.",
    "3.3": "Their mail server cannot handle this kind of email.",
    "3.4": "The email is larger than their mail server takes.",
    "4.1": "Their mail server does not answer.",
    "4.2": "The connection to their mail server broke off.",
    "4.3": "Their mail server could not look up what it needs.",
    "4.4": "No way to their mail server was found.",
    "4.5": "Their mail server has too much to do.",
    "4.6": "The email went round in circles between mail servers.",
    "4.7": "It could not be delivered in time, and the mail server has given up.",
    "5.3": "It was for too many people at once.",
    "6.7": "Their mail server does not take addresses with letters like these.",
    "7.1": "Their mail server refused it as unwanted.",
    "7.2": "The list behind the address does not take email from the shop.",
    "7.8": "The shop's own mail server does not accept its user name and password.",
    "7.25": "The address of the shop's mail server on the network has no name, which theirs insists on.",
    "7.27": "The part of the shop's own address after the @ says that it takes no email.",
    "7.28": "Their mail server thinks that the shop sends too much at once.",
}
_NOT_PROVEN = (
    "Their mail server could not make sure that the email is really from the shop (SPF, DKIM): whoever looks "
    "after the shop's address can help."
)
_BY_DETAIL |= dict.fromkeys(("7.20", "7.21", "7.22", "7.23", "7.24", "7.26"), _NOT_PROVEN)
_OWN_LOGIN = "The shop's own mail server wants a user name and password first."
_BY_DETAIL |= dict.fromkeys(("7.0",), "Their mail server refused it for reasons of its own safety.")
_BY_SUBJECT = {
    "1": "Something is wrong with the address.",
    "2": "Something is wrong with their mailbox.",
    "3": "Something is wrong with their mail server.",
    "4": "It did not get through to their mail server.",
    "5": "The two mail servers did not understand each other.",
    "6": "Their mail server cannot handle what the email is made of.",
    "7": "Their mail server refused it.",
}
_BY_REPLY = {
    "421": "Their mail server takes no email at the moment.",
    "450": "Their mailbox could not be reached at the moment.",
    "451": "Their mail server has trouble of its own.",
    "452": "Their mail server has no room left.",
    "454": "Their mail server has trouble of its own.",
    "521": "The part of the address after the @ takes no email at all.",
    "530": _OWN_LOGIN,
    "535": _BY_DETAIL["7.8"],
    "550": "Their mail server does not take email for that address.",
    "551": "They have moved to another address.",
    "552": "The email is larger than there is room for.",
    "553": "The address is not written the way mail servers want it.",
    "554": "Their mail server refused it.",
    "556": "The part of the address after the @ takes no email at all.",
}
_FOR_NOW = " It may work later."
_UNKNOWN = "Their mail server did not take it."

ENHANCED = re.compile(r"(?<![\w.])([245])\.(\d{1,3})\.(\d{1,3})(?![\w.]*\.\d)(?!\w)")
REPLY = re.compile(r"(?<![\w.:/-])([45][0-5]\d)(?=[\s-]|$)")

_SAY_NOTHING = ("5.0.0", "5.5.0")
_NO_SUCH_MAILBOX = "5.1.1"
_REFUSED = re.compile(r"(?<![\w.:/-])550[ -][^\n]{1,300}")
"""RFC 5321, section 4.2.3: that nobody has the mailbox, and other reasons for not taking an email."""
_NOBODY = re.compile(
    r"\bno such (?:user|mailbox|recipient|account)\b|\bunknown (?:user|recipient|mailbox)\b|"
    r"\b(?:user|recipient|mailbox|account) (?:is )?(?:unknown|not found|does(?: not|n't) exist)\b",
    re.IGNORECASE,
)
_DOUBTFUL = re.compile(
    r"\b(?:sender|mail from|return[- ]path|verif\w+|call-?(?:out|back)|or|maybe|may|might|temporar\w+|try|"
    r"disabled|suspended|inactive|full|quota|spam|polic\w+|block\w*)\b",
    re.IGNORECASE,
)
"""With one of these in it, the answer may be about somebody or something else."""


def plain_words(status: str, said: str = "", *, tried_again: bool = True) -> str:
    """Why, as a sentence or two, and then what the server said.

    `status` is an enhanced status ("5.1.1"), a reply code ("550"), both ("550 5.1.1") or empty: what is
    missing is looked for in `said`. `tried_again`: whether a temporary refusal is not the end.
    "5.1.1", "550 5.1.1 No such user" → "There is no such mailbox at their mail server. The server said:
    “550 5.1.1 No such user”"."""
    said = one_line(said)
    why, temporary = _why(status, said)
    if temporary and tried_again:
        why += _FOR_NOW
    return f"{why} The server said: “{said}”" if said else why


def status_of(*texts: str) -> str:
    """The first enhanced status in the texts, or one of its class that says more, where it ends in 0 (which
    is "other or undefined": RFC 3463, section 3). Else what a reply code comes to ("5.0.0", "4.0.0"), else
    empty. "5.1.1" too where nothing but a server's plain words say for sure that nobody has the mailbox."""
    found = [one for text in texts for one in ENHANCED.finditer(text)]
    replies = [reply[1] for text in texts for reply in REPLY.finditer(text)]
    if found:
        first = found[0]
        status = next((one[0] for one in found if one[1] == first[1] and is_exact(one[0])), first[0])
    else:
        status = f"{replies[0][0]}.0.0" if replies else ""
    if status in _SAY_NOTHING and any(map(_knows_nobody, texts)):
        return _NO_SUCH_MAILBOX
    return status


def is_exact(status: str) -> bool:
    """Whether an enhanced status says what is wrong, and not only what it is about."""
    return bool(status) and not status.endswith(".0")


def _knows_nobody(text: str) -> bool:
    return any(_NOBODY.search(said[0]) and not _DOUBTFUL.search(said[0]) for said in _REFUSED.finditer(text))


def one_line(said: str) -> str:
    """A server's words as one line for people, not longer than `LONGEST`."""
    seen = "".join(" " if unicodedata.category(char)[0] in "CZ" else char for char in said[: LONGEST * 8])
    line = " ".join(seen.split())
    return line if len(line) <= LONGEST else f"{line[: LONGEST - 1].rstrip()}…"


def _why(status: str, said: str) -> tuple[str, bool]:
    """Why, and whether that may pass."""
    codes = [found for text in (status, said) for found in ENHANCED.finditer(text)]
    replies = [found[1] for text in (status, said) for found in REPLY.finditer(text)]
    replied = next((_BY_REPLY[code] for code in replies if code in _BY_REPLY), "")
    if not codes:
        return replied or _UNKNOWN, any(code[0] == "4" for code in replies)
    # "5.0.0" says nothing that a more exact code beside it does not say better.
    codes.sort(key=lambda code: f"{code[2]}.{code[3]}" not in _BY_DETAIL)
    kind, subject, detail = codes[0].groups()
    if kind == "4" and f"{subject}.{detail}" in ("7.0", "7.1"):
        return "Their mail server does not want it yet.", True
    by_subject = _BY_SUBJECT.get(subject, "")
    # "Undefined" and "something of the protocol" say less than the reply code does.
    roughly = replied or by_subject if subject in "05" else by_subject or replied
    why = _BY_DETAIL.get(f"{subject}.{detail}") or roughly or _UNKNOWN
    return why, kind == "4" and why != _BY_DETAIL["4.7"]
