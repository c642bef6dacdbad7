"""What an acceptance keeps of the paper that was accepted."""

from __future__ import annotations

from shopdesk.quotes.models import Acceptance


def keep_hashes() -> int:
    """Write the hash of the quote's PDF beside each acceptance that came before the PDF had been made. What
    the PDF is made of was frozen when the quote was sent, so it says what was accepted. Runs with every
    sweep; returns how many were written."""
    due = Acceptance.objects.filter(document_sha256="", quote__document__sha256__gt="")
    made = list(due.values_list("pk", "quote__document__sha256"))
    for pk, sha256 in made:
        Acceptance.objects.filter(pk=pk, document_sha256="").update(document_sha256=sha256)
    return len(made)
