"""Rows that are written once. The model refuses, and so does the database, whoever asks."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NoReturn

from django.apps import apps
from django.db import connections, models

_SQLITE = """CREATE TRIGGER IF NOT EXISTS {table}_append_only BEFORE UPDATE ON {table}
BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"""
_POSTGRES = (
    """CREATE OR REPLACE FUNCTION shopdesk_append_only() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN
RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation'; END $$""",
    """CREATE OR REPLACE TRIGGER {table}_append_only BEFORE UPDATE ON {table}
FOR EACH ROW EXECUTE FUNCTION shopdesk_append_only()""",
)


class WrittenOnce(models.QuerySet[Any]):
    def update(self, **kwargs: Any) -> NoReturn:
        raise TypeError(f"{self.model.__name__} is append-only: write a new row that corrects the old one.")

    def delete(self) -> NoReturn:
        raise TypeError(f"{self.model.__name__} is append-only.")


class AppendOnly(models.Model):
    """A row that is never changed and never deleted: a mistake is answered by another row."""

    objects = models.Manager.from_queryset(WrittenOnce)()

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if not self._state.adding:
            raise TypeError(
                f"{type(self).__name__} is append-only: write a new row that corrects the old one."
            )
        kwargs["force_insert"] = True
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        raise TypeError(f"{type(self).__name__} is append-only.")


def append_only_models() -> Iterable[type[AppendOnly]]:
    return (model for model in apps.get_models() if issubclass(model, AppendOnly))


def guard_tables(using: str = "default", **kwargs: Any) -> None:
    """After every migrate: (re)make the triggers. SQLite drops them when a migration rebuilds a table."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    statements = (_SQLITE,) if connection.vendor == "sqlite" else _POSTGRES
    with connection.cursor() as cursor:
        for model in append_only_models():
            if model._meta.db_table in tables:
                for statement in statements:
                    cursor.execute(statement.format(table=model._meta.db_table))
