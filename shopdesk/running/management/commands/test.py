"""`python3 manage.py test`: the whole suite, on SQLite and then on PostgreSQL.

    python3 manage.py test                                    all of it
    python3 manage.py test tests/quotes -k rounding           one run of pytest, on SQLite
    python3 manage.py test --database postgres tests/visits   the same on PostgreSQL

The tests get a folder of their own, gone afterwards, and nothing of what this shop is told by its
environment. PostgreSQL is looked for where SHOPDESK_TEST_POSTGRES says, or on this machine; where it does not
answer, its runs are skipped with the reason, or fail if SHOPDESK_REQUIRE names it.
"""

from __future__ import annotations

import argparse
import sys
from typing import Any

from django.core.management.base import BaseCommand

from shopdesk.running import testing


class Command(BaseCommand):
    help = "Run the tests: all of them on both databases, or what pytest's own arguments choose."
    requires_system_checks = []

    def run_from_argv(self, argv: list[str]) -> None:
        """All but `--database` is pytest's, so nothing else is looked at here."""
        parser = argparse.ArgumentParser(
            prog="manage.py test",
            description=self.help,
            epilog="Everything else is handed to pytest.",
            allow_abbrev=False,
        )
        parser.add_argument(
            "--database", choices=["sqlite", "postgres"], help="where one run happens (sqlite)"
        )
        known, rest = parser.parse_known_args(argv[2:])
        self.handle(*rest, database=known.database)

    def handle(self, *args: str, database: str | None = None, **options: Any) -> None:
        sys.exit(testing.run(args, database))
