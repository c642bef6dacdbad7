"""`python3 manage.py backup FILE`: the whole shop in one file, while it runs."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from shopdesk.running.archive import CannotBackUp, back_up


class Command(BaseCommand):
    help = "Write database, pictures, documents and secret key to one file. The shop may be running."
    requires_system_checks = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE")
        parser.add_argument("--incomplete", action="store_true", help="even if files are missing")

    def handle(self, *args: Any, file: Path, incomplete: bool, **options: Any) -> None:
        try:
            made = back_up(file, incomplete=incomplete)
        except CannotBackUp as no:
            raise CommandError(str(no)) from no
        for name in made.absent:
            self.stderr.write(f"Missing or damaged: {name}")
        self.stdout.write(f"{file}: {made}, {file.stat().st_size / 1e6:.1f} MB")
        self.stdout.write("Whoever has this file has the shop. Keep it where nobody else can read it.")
