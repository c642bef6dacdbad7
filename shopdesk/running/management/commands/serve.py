"""`python3 manage.py serve`: run a shop on this machine.

1. Take the folder and the port, or say who has them.
2. Bring the database, the type and the static files up to date.
3. Start the web server, a worker and the clock, and wait until a page comes.
4. Print where to go, and on an empty database the code that lets the owner set the shop up.
5. Look after them until Ctrl-C or SIGTERM, then stop them all.
"""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.urls import reverse

from shopdesk.running.lock import InUse
from shopdesk.running.preparing import prepare
from shopdesk.running.processes import CannotServe, Shopkeeper, tell
from shopdesk.shop.actions import new_setup_code
from shopdesk.shop.models import Shop


class Command(BaseCommand):
    help = "Run the shop on this machine: web server, worker and clock, until Ctrl-C."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--port", type=int, default=8000, help="where to listen (8000); 0 takes a free one"
        )
        parser.add_argument("--host", default="127.0.0.1", help="the address to listen on (127.0.0.1)")

    def handle(self, *args: Any, host: str, port: int, **options: Any) -> None:
        try:
            with Shopkeeper(host=host, port=port) as keeper:
                keeper.claim()
                prepare(tell)
                if not keeper.asked_to_stop:
                    keeper.start()
                    keeper.wait_until_up(60)
                if not keeper.asked_to_stop:
                    for line in where_to_go(keeper):
                        tell(line)
                    connection.close()
                    keeper.run_until_signal()
                tell("Stopping")
        except (InUse, CannotServe) as no:
            raise CommandError(str(no), returncode=2) from no
        tell("Stopped")
        sys.stdout.flush()


def where_to_go(keeper: Shopkeeper) -> list[str]:
    """The addresses to open, and on an empty database the way to set the shop up."""
    lines = ["", f"Your desk         {keeper.url}{reverse('desk:today')}"]
    lines += [f"The request page  {keeper.url}{reverse('intake:request')}"]
    if not Shop.objects.exists():
        lines += [
            "",
            "This shop has not been set up yet. Open",
            f"  {keeper.url}{reverse('desk:set-up')}",
            f"and type this code, which works once:  {new_setup_code()}",
        ]
    return [*lines, "", "Ctrl-C stops the shop."]
