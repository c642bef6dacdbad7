"""Handing over to a mail server, with addresses in any script where it takes them."""

from __future__ import annotations

from typing import Any

from django.core.mail.backends.smtp import EmailBackend

from shopdesk.mail.message import BadAddress, Letter


class Smtp(EmailBackend):
    """Django's, and RFC 6531 for a letter with an address that is not ASCII. Raises `BadAddress` where the
    server has not heard of that."""

    def _send(self, email_message: Any) -> bool:
        if not isinstance(email_message, Letter):
            return bool(super()._send(email_message))  # type: ignore[misc]
        line = self.connection
        assert line is not None
        options: list[str] = []
        if email_message.international:
            line.ehlo_or_helo_if_needed()
            if not line.has_extn("smtputf8"):
                whose = next(
                    one for one in [*email_message.to, email_message.from_email] if not one.isascii()
                )
                raise BadAddress(
                    f"“{whose}” has letters before the @ that the shop's mail server does not take "
                    "(RFC 6531). Ask for another address."
                )
            options = ["SMTPUTF8", "BODY=8BITMIME"]
        # A letter's addresses have been looked at already (`message`): Django would parse them anew.
        line.sendmail(
            email_message.from_email,
            email_message.recipients(),
            email_message.message().as_bytes(linesep="\r\n"),
            mail_options=options,
        )
        return True
