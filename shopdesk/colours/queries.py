"""Samples, by commission and by what they wait for."""

from shopdesk.colours.models import Sample
from shopdesk.commissions.models import Commission
from shopdesk.commissions.stages import ENDS


def samples_of(commission: Commission) -> list[Sample]:
    """Every round of every piece, newest round first within its piece, with the board's picture."""
    return list(
        Sample.objects.filter(piece__commission=commission)
        .select_related("piece", "shot__picture")
        .order_by("piece__position", "-round")
    )


def still_open(most: int = 100) -> list[Sample]:
    """The latest sample of each piece whose colour is not agreed yet, longest standing first: it waits for
    the client's answer (`proposed`), or they have asked for another one (`again`)."""
    rows = (
        Sample.objects.filter(piece__colour_open=True)
        .exclude(piece__commission__stage__in=ENDS)
        .select_related("piece__commission__client")
        .order_by("round")
    )
    latest = {sample.piece_id: sample for sample in rows}
    return sorted(latest.values(), key=lambda sample: sample.answered_at or sample.proposed_at)[:most]
