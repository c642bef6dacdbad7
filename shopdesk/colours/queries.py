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


def unanswered(most: int = 50) -> list[Sample]:
    """Samples that wait for their client's answer, longest waiting first."""
    return list(
        Sample.objects.filter(state=Sample.State.PROPOSED)
        .exclude(piece__commission__stage__in=ENDS)
        .select_related("piece__commission__client")
        .order_by("proposed_at")[:most]
    )


def wanted_again(most: int = 50) -> list[Sample]:
    """The latest samples of pieces whose client asked for another one and has not been shown it, longest
    waiting first."""
    return list(
        Sample.objects.filter(state=Sample.State.AGAIN, piece__colour_open=True)
        .exclude(piece__in=Sample.objects.filter(state=Sample.State.PROPOSED).values("piece"))
        .exclude(piece__commission__stage__in=ENDS)
        .select_related("piece__commission__client")
        .order_by("answered_at")[:most]
    )
