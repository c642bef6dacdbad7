"""What a shop needs before it opens: its tables, its type, its static files."""

from __future__ import annotations

from collections.abc import Callable
from io import StringIO

from django.conf import settings
from django.core.management import call_command
from django.db import OperationalError, connection
from django.db.migrations.executor import MigrationExecutor

from shopdesk.look import fonts
from shopdesk.running.processes import CannotServe


def prepare(say: Callable[[str], None]) -> None:
    """Bring database, fonts and static files up to date, saying so in a line each. Raises `CannotServe` where
    the database does not answer."""
    try:
        waiting = waiting_migrations()
        if waiting:
            say(f"Bringing the database up to date ({waiting} steps)")
        call_command("migrate", interactive=False, verbosity=0)
    except OperationalError as error:
        raise CannotServe(f"The database cannot be used: {str(error).strip()}") from error
    if not any(settings.FONTS.glob("*.woff2")):
        say("Cutting the type for the pages")
    fonts.build(settings.FONTS)
    say("Gathering style sheets, scripts and type")
    call_command("collectstatic", interactive=False, verbosity=0, stdout=StringIO())


def waiting_migrations() -> int:
    executor = MigrationExecutor(connection)
    return len(executor.migration_plan(executor.loader.graph.leaf_nodes()))
