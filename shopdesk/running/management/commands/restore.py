"""`python3 manage.py restore FILE`: a backup becomes the shop again."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from shopdesk.running.archive import Damaged, opened
from shopdesk.running.lock import InUse
from shopdesk.running.restoring import CannotRestore, restore


class Command(BaseCommand):
    help = "Bring a shop back from the file that `backup` wrote. All of it, or nothing changes."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE")
        parser.add_argument("--replace", action="store_true", help="over a shop that has data, too")
        parser.add_argument("--check", action="store_true", help="only check that the file is whole")

    def handle(self, *args: Any, file: Path, replace: bool, check: bool, **options: Any) -> None:
        try:
            if check:
                with opened(file) as (_, manifest):
                    self.stdout.write(f"{file} is whole: {manifest}, of {manifest.made_at}")
                return
            manifest = restore(file, replace=replace, say=self.stdout.write)
        except (CannotRestore, Damaged, InUse) as no:
            raise CommandError(str(no)) from no
        self.stdout.write(f"Restored {manifest}, as of {manifest.made_at}")
