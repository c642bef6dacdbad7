"""What the client has been shown."""

from shopdesk.commissions.models import Commission
from shopdesk.progress.models import Update


def updates_of(commission: Commission) -> list[Update]:
    """Every update with its pictures, newest first."""
    return list(
        Update.objects.filter(commission=commission)
        .prefetch_related("shots__picture__renditions")
        .order_by("-at", "-id")
    )
