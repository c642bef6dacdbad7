"""What the client has been shown."""

from django.db.models import Prefetch

from shopdesk.commissions.models import Commission, Shot
from shopdesk.progress.models import Update


def updates_of(commission: Commission) -> list[Update]:
    """Every update with its pictures, newest first."""
    return list(
        Update.objects.filter(commission=commission)
        .prefetch_related(Prefetch("shots", Shot.objects.select_related("picture")))
        .order_by("-at", "-id")
    )
