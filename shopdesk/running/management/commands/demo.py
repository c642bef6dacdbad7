"""`python3 manage.py demo`: a fresh demo shop in `var/demo/`, its story played, and then served.

1. Empty `var/demo/`, and begin again inside it: SQLite, the file broker, emails as files.
2. Bring up the tables, the type and the static files; start the web server, a worker and the clock.
3. Play the story (`shopdesk.running.scenario`), a line for each step with the paths of what it made.
4. Print the two addresses to open, and serve until Ctrl-C; with `--no-serve`, end with exit code 0.
"""

from __future__ import annotations

import os
import shutil
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.urls import reverse

from shopdesk.running.calendar import DEMO, story_time
from shopdesk.running.lock import InUse, alone
from shopdesk.running.players import WorkerSilent
from shopdesk.running.preparing import prepare
from shopdesk.running.processes import ALL, CLOCK, WORKER, CannotServe, Shopkeeper, tell
from shopdesk.running.scenario import Story

_ELSEWHERE = (
    *("DATABASE_URL", "REDIS_URL", "EMAIL_URL", "INBOX_URL", "INBOX_ADDRESS", "INBOX_CA"),
    *("SECRET_KEY", "PUBLIC_URL", "DEBUG", "SSL_REDIRECT"),
)
"""What would lead the demo to a real shop's database, broker or mail."""


class _Stopped(Exception):
    """Somebody pressed Ctrl-C while the story was being played."""


class Command(BaseCommand):
    help = "Make a fresh demo shop in var/demo/, play its story, and serve it."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="end once the story has been played")
        parser.add_argument("--port", type=int, default=8000, help="where to listen (8000)")

    def handle(self, *args: Any, no_serve: bool, port: int, **options: Any) -> None:
        if os.environ.get(DEMO) != str(settings.VAR):
            begin_again_inside(settings.VAR / "demo", port)
        try:
            with Shopkeeper(port=port, parts=(WORKER, CLOCK) if no_serve else ALL) as keeper:
                keeper.claim()
                prepare(tell)
                keeper.start()
                keeper.wait_until_up(60)
                self._play(keeper)
                if not no_serve:
                    tell("\nCtrl-C stops the demo.")
                    keeper.run_until_signal()
        except _Stopped:
            tell("Stopped before the end of the story.")
        except (InUse, CannotServe) as no:
            raise CommandError(str(no), returncode=2) from no
        except WorkerSilent as silent:
            raise CommandError(str(silent)) from silent
        sys.stdout.flush()

    def _play(self, keeper: Shopkeeper) -> None:
        def meanwhile() -> None:
            if keeper.asked_to_stop:
                raise _Stopped
            keeper.tend()

        with story_time(ZoneInfo("America/New_York")) as calendar:
            ways_in = Story(calendar, tell, meanwhile).play()
        tell("")
        tell(f"The owner's desk   {keeper.url}{reverse('desk:today')}")
        tell(f"                   {ways_in.login}, password: {ways_in.password}")
        tell(f"The client's page  {ways_in.client_link}")
        tell(f"Ask about a piece  {keeper.url}{reverse('intake:request')}")


def begin_again_inside(folder: Path, port: int) -> None:
    """Empty the demo's folder and run this command once more with it as the shop's own. Does not return;
    raises `CommandError` while a demo runs there."""
    folder.mkdir(parents=True, exist_ok=True)
    try:
        with alone(folder):
            for path in folder.iterdir():
                if path.is_dir() and not path.is_symlink():
                    shutil.rmtree(path)
                elif path.name != "serve.lock":
                    path.unlink()
    except InUse as no:
        raise CommandError(str(no), returncode=2) from no
    environ = {name: value for name, value in os.environ.items() if name not in _ELSEWHERE}
    environ |= {
        DEMO: str(folder),
        "SHOPDESK_VAR": str(folder),
        "PUBLIC_URL": f"http://localhost:{port}",
        "SWEEP_SECONDS": "2",
    }
    sys.stdout.flush()
    os.execve(sys.executable, [sys.executable, *sys.argv], environ)
