"""How fast the shop is, against the bare libraries that it stands on."""

from __future__ import annotations

import time
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection

from shopdesk.running.measures import mail, pages, papers, pictures, quotes, statements, world
from shopdesk.running.measures.ground import own_ground
from shopdesk.running.measures.timing import Ratio, Spent

URLCONF = "shopdesk.running.measures.bare"
SMALL_PHOTO = (1008, 756)


class Command(BaseCommand):
    """In a database and folders of its own, gone at the end:

    1. a shop with twenty commissions at every stage
    2. the client's page and the desk's front page ÷ a bare Django view
    3. a quote's PDF ÷ bare WeasyPrint
    4. a photo's renditions ÷ bare Pillow
    5. each page's SQL statements with twenty commissions and with two thousand
    6. beside those, a quote of sixty lines: its figures while somebody types, and its PDF ÷ bare WeasyPrint
    7. emails a second through one worker ÷ a bare `smtplib` loop, and a claim among many emails ÷ among few

    The first line names the database: it is of the kind that `DATABASE_URL` names.
    """

    help = (
        "Measure the shop against bare Django, WeasyPrint and Pillow, in one run, with the goal beside each."
    )
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--strict", action="store_true", help="exit with 1 when a goal is missed")
        parser.add_argument(
            "--quick", action="store_true", help="a few rounds of little things: does it run at all?"
        )
        parser.add_argument("--commissions", type=int, default=0, help="how many are many (2000)")

    def handle(self, *args: Any, **options: Any) -> None:
        began = time.monotonic()
        quick = options["quick"]
        many = options["commissions"] or (60 if quick else 2000)
        if many % world.FIRST or many < world.FIRST:
            raise CommandError(f"--commissions is a whole number of {world.FIRST}s.")
        version = ".".join(str(part) for part in connection.get_database_version())
        self.stdout.write(f"On {connection.display_name} {version}\n")
        with own_ground(URLCONF):
            made = world.furnish()
            ratios = [
                *pages.measure(made, rounds=5 if quick else 150),
                papers.measure(made.fullest, rounds=1 if quick else 10),
                pictures.measure(rounds=1, size=SMALL_PHOTO) if quick else pictures.measure(),
            ]
            self._say_ratios(ratios)
            asked = 3 if quick else world.FIRST
            statements.count(made, commissions=asked)  # what is read once and kept, and noted as seen
            few = statements.count(made, commissions=asked)
            world.grow(many)
            compared = statements.compared(few, statements.count(made, commissions=asked))
            self._say_statements(compared, many)
            large = quotes.sixty_lines(made.owner)
            figures = quotes.recalculation(large, made.owner, rounds=5 if quick else 200)
            paper = quotes.paper(large, made.owner, rounds=1 if quick else 10)
            ratios.append(paper)
            self._say_large(figures, paper)
            rate = mail.measure(made.fullest, emails=20 if quick else 150, rounds=1 if quick else 5)
            few_emails, many_emails = (200, 2_000) if quick else (1_000, 200_000)
            claim = mail.claim(few=few_emails, many=many_emails, rounds=20 if quick else 200)
            ratios.append(claim)
            self._say_mail(rate, claim, f"of {many_emails:,}", f"of {few_emails:,}")
        missed = [one.what for one in ratios if not one.ok] + [one.name for one in compared if not one.same]
        missed += [one.what for one in (figures, rate) if not one.ok]
        verdict = f"Over: {', '.join(missed)}." if missed else "All goals met."
        self.stdout.write(f"\n{time.monotonic() - began:.0f} seconds. {verdict}")
        if missed and options["strict"]:
            raise CommandError("A goal is missed.", returncode=1)

    def _say_ratios(
        self, ratios: list[Ratio], title: str = "Time", app: str = "the app", bare: str = "bare"
    ) -> None:
        self.stdout.write(f"{title:<26}{app:>11}{bare:>11}{'ratio':>8}{'goal':>9}")
        for one in ratios:
            self.stdout.write(
                f"{one.what:<26}{one.app * 1000:>8.1f} ms{one.bare * 1000:>8.1f} ms{one.ratio:>8.2f}"
                f"{f'≤ {one.goal:g}':>9}  {_verdict(one.ok)}"
            )

    def _say_statements(self, compared: list[statements.Page], many: int) -> None:
        self.stdout.write(
            f"\n{'SQL statements a page':<37}{f'with {world.FIRST}':>9}{f'with {many:,}':>12}     goal"
        )
        for one in compared:
            self.stdout.write(f"{one.name:<37}{one.few:>9}{one.many:>12}    equal  {_verdict(one.same)}")

    def _say_large(self, figures: Spent, paper: Ratio) -> None:
        """The first is no ratio: its goal is so many milliseconds of the processor."""
        self.stdout.write("")
        self._say_ratios([paper], "A quote of 60 lines")
        goal = f"goal ≤ {figures.goal * 1000:g} ms"
        self.stdout.write(
            f"{figures.what:<26}{figures.seconds * 1000:>8.1f} ms{goal:>28}  {_verdict(figures.ok)}"
        )

    def _say_mail(self, rate: mail.Rate, claim: Ratio, many: str, few: str) -> None:
        """The second is no matter of bare libraries: it is a table of many emails against one of few."""
        self.stdout.write(f"\n{'Mail':<26}{'the app':>11}{'bare':>11}{'ratio':>8}{'goal':>9}")
        self.stdout.write(
            f"{rate.what:<26}{rate.app:>9.0f}/s{rate.bare:>10.0f}/s{rate.share:>9.2f}{f'≥ {rate.goal:g}':>9}"
            f"  {_verdict(rate.ok)}"
        )
        self._say_ratios([claim], "Finding the next email", many, few)


def _verdict(ok: bool) -> str:
    return "ok" if ok else "over"
