"""One connection to the mail server, and what its answers mean (RFC 5321, RFC 4954)."""

from __future__ import annotations

import logging
import smtplib
import socket
import ssl
from collections.abc import Callable
from dataclasses import dataclass, field

from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend

from shopdesk.mail.refusals import ENHANCED, is_exact, plain_words

log = logging.getLogger(__name__)

_SHOP_WIDE_CODES = (421, 530, 534, 535, 538)
"""Answers that are about the server or our account, in the middle of an email too."""
_NOT_NOW = "The mail server says that it cannot be used now."
_TOO_LARGE = 552
"""Said at once by a server that was told the size (RFC 1870)."""


class Refused(Exception):
    """The server will never take this email. `status` is what it has against the recipient, where it says
    that exactly (RFC 2034, RFC 3463), else empty."""

    def __init__(self, why: str, status: str = "") -> None:
        super().__init__(why)
        self.status = status


class Later(Exception):
    """The server does not take this email for now."""


class Away(Exception):
    """The server cannot be used: no email got as far as being handed over."""


class Broken(Exception):
    """The handing over broke off, for a reason that may be the server's or the email's own. `shop_wide`: it
    says itself that it is the server's."""

    def __init__(self, why: str, *, shop_wide: bool = False) -> None:
        super().__init__(why)
        self.shop_wide = shop_wide


@dataclass
class Line:
    """One connection for many emails. After trouble it is closed, and opened again for the next email."""

    connect: Callable[[], BaseEmailBackend]
    _backend: BaseEmailBackend | None = field(default=None, init=False)

    def hand_over(self, letter: EmailMessage) -> None:
        """Raises `Refused`, `Later`, `Away` or `Broken`, with the reason in plain words."""
        try:
            backend = self._backend = self._backend or self.connect()
            backend.open()
        except (OSError, ValueError) as error:  # smtplib's own are OSErrors too
            raise Away(_why(error)) from error
        try:
            backend.send_messages([letter])
        except smtplib.SMTPRecipientsRefused as error:
            code, said = next(iter(error.recipients.values()))
            raise _judged(code, said, of_recipient=True) from error
        except smtplib.SMTPSenderRefused as error:
            if error.smtp_code == _TOO_LARGE:
                raise _judged(error.smtp_code, error.smtp_error) from error
            raise Broken(_why(error), shop_wide=True) from error
        except (smtplib.SMTPAuthenticationError, smtplib.SMTPConnectError, smtplib.SMTPHeloError) as error:
            raise Broken(_why(error), shop_wide=True) from error
        except smtplib.SMTPResponseException as error:
            raise _judged(error.smtp_code, error.smtp_error) from error
        except (
            smtplib.SMTPNotSupportedError
        ) as error:  # an address in a script that it does not know (RFC 6531)
            raise Refused(f"The mail server does not take such an address. ({error})") from error
        except OSError as error:  # no answer, a line that went dead, a full disk
            raise Broken(_why(error)) from error

    def close(self) -> None:
        """Say goodbye."""
        backend, self._backend = self._backend, None
        if backend is not None:
            try:
                backend.close()
            except OSError as error:
                log.info("The mail server's line was closed from the other side: %s", error)

    def drop(self) -> None:
        """Let go of a line that may be dead: nobody waits for an answer to a goodbye."""
        connection = getattr(self._backend, "connection", None)
        if isinstance(connection, smtplib.SMTP):
            connection.close()
        self._backend = None


def _judged(code: int, said: bytes | str, *, of_recipient: bool = False) -> Exception:
    answer = _answer(code, said)
    if code in _SHOP_WIDE_CODES:
        return Broken(f"{_NOT_NOW} Its answer: “{answer}”.", shop_wide=True)
    words = plain_words(str(code), answer)
    if code < 500:
        return Later(words)
    status = ENHANCED.match(answer, len(f"{code} ")) if of_recipient else None
    return Refused(words, status[0] if status and is_exact(status[0]) else "")


def _answer(code: int, said: bytes | str) -> str:
    words = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    return " ".join(f"{code} {words}".split())[:300]


def _why(error: Exception) -> str:
    """Why the server cannot be used, in plain words and then in its own."""
    host = getattr(settings, "EMAIL_HOST", "") or "the mail server"
    if isinstance(error, smtplib.SMTPResponseException):
        return f"{_of_answer(error)} Its answer: “{_answer(error.smtp_code, error.smtp_error)}”."
    match error:
        case ssl.SSLCertVerificationError():
            words = f"{host} does not show a certificate that can be trusted, so nothing is sent to it."
        case ssl.SSLError():
            words = (
                f"There is no secure connection with {host}. The port or the kind of security may be wrong."
            )
        case socket.gaierror():
            words = f"The name {host} is not found. The machine may be without internet, or the name wrong."
        case TimeoutError():
            words = f"{host} does not answer in time."
        case ConnectionRefusedError():
            words = f"Nothing answers at {host}, port {settings.EMAIL_PORT}."
        case smtplib.SMTPServerDisconnected() | ConnectionError():
            words = "The mail server breaks the connection off."
        case smtplib.SMTPNotSupportedError():
            words = (
                f"{host} does not offer what is asked for in EMAIL_URL (a secure connection, or a password)."
            )
        case OSError():
            words = f"{host} cannot be reached or used."
        case _:
            words = "The way to the mail server (EMAIL_URL) is not right."
    return f"{words} ({' '.join(str(error).split())[:300] or type(error).__name__})"


def _of_answer(error: smtplib.SMTPResponseException) -> str:
    match error:
        case smtplib.SMTPAuthenticationError():
            return "The mail server does not take the user name and password in EMAIL_URL."
        case smtplib.SMTPSenderRefused():
            return f"The mail server does not let us send from {error.sender}."
        case _:
            return _NOT_NOW
