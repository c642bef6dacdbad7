"""Whether an email is still needed, asked right before each time it is handed over.

A reminder may wait in the outbox while what it reminds of is done. The room that writes a kind says, in its
`apps.py`, how to tell:

    still.register("quote-expiring", lambda email: ...)
"""

from __future__ import annotations

from collections.abc import Callable

from shopdesk.mail.models import Email

_checks: dict[str, Callable[[Email], bool]] = {}


def register(kind: str, check: Callable[[Email], bool]) -> None:
    """`check` says whether there is still a reason for an email of this kind; it reads, and changes
    nothing."""
    _checks[kind] = check


def still_needed(email: Email) -> bool:
    """`True` for every kind that nobody registered a check for."""
    check = _checks.get(email.kind)
    return check is None or check(email)
