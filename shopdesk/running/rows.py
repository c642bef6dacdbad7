"""Every row of a shop, out of one database and into another, whichever the two are.

A table is written as one line of column names and then one line of JSON a row, in the order of the keys.
Values pass through the columns' own types both ways, so that what was a decimal, a moment or an amount is one
again, to the last digit.
"""

from __future__ import annotations

import base64
import json
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, time
from decimal import Decimal
from itertools import islice
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import connection, models, transaction
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

BATCH = 1000


class WrongRows(Exception):
    """What is to be loaded does not fit the tables. The text says which."""


def tables() -> list[type[models.Model]]:
    """Every model with a table, Django's own and those between two models included."""
    return [
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy
    ]


def applied_migrations() -> list[str]:
    return sorted(f"{app}.{name}" for app, name in MigrationRecorder(connection).applied_migrations())


def our_migrations() -> list[str]:
    """Those that this Shopdesk has, applied or not."""
    return sorted(
        f"{app}.{name}" for app, name in MigrationLoader(None, ignore_no_migrations=True).disk_migrations
    )


def holds_data() -> bool:
    """Whether somebody has begun to use this shop. What a shop writes before anybody comes does not count."""
    idle = {
        "base.heartbeat",
        "base.limit",
        "base.submission",
        "conversation.quickanswer",
        "mail.mailbox",
        "shop.setupcode",
    }
    there = set(connection.introspection.table_names())
    return any(
        model._base_manager.exists()
        for model in tables()
        if model.__module__.startswith("shopdesk.")
        and model._meta.label_lower not in idle
        and model._meta.db_table in there
    )


# -- out -----------------------------------------------------------------------------------------------------


@contextmanager
def snapshot() -> Iterator[None]:
    """Within the block all reads see one moment, while others go on writing."""
    if connection.vendor == "sqlite":
        connection.ensure_connection()
        wrapper: Any = connection
        usual, wrapper.transaction_mode = (
            wrapper.transaction_mode,
            "DEFERRED",
        )  # no lock to write is waited for
        try:
            with transaction.atomic():
                yield
        finally:
            wrapper.transaction_mode = usual
    else:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield


def lines(model: type[models.Model]) -> Iterator[bytes]:
    """The table as lines, a few rows in memory at a time."""
    columns = [column.attname for column in model._meta.concrete_fields]
    yield _line(columns)
    for row in model._base_manager.order_by("pk").values_list(*columns).iterator(BATCH):
        yield _line(row)


def _line(values: Iterable[Any]) -> bytes:
    return json.dumps(list(values), default=_plain, separators=(",", ":"), allow_nan=False).encode() + b"\n"


def _plain(value: Any) -> str:
    if isinstance(value, datetime | date | time):
        return value.isoformat()  # all six digits of a second, which Django's own encoder cuts to three
    if isinstance(value, Decimal | UUID):
        return str(value)
    if isinstance(value, bytes | memoryview):
        return base64.b64encode(value).decode()
    raise TypeError(f"No way to write down {type(value).__name__}.")


def sequences() -> dict[str, int]:
    """Table → the last number given out as a key, also to rows that are gone since."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name, seq FROM sqlite_sequence")
            given = dict(cursor.fetchall())
            return {table: int(given.get(table, 0)) for table, _ in _numbered()}
        found: dict[str, int] = {}
        for table, key in _numbered():
            cursor.execute(f"SELECT last_value, is_called FROM {_sequence(cursor, table, key)}")
            last, called = cursor.fetchone()
            found[table] = last if called else 0
        return found


def _numbered() -> list[tuple[str, str]]:
    """The tables whose keys the database gives out, with the key's column."""
    found = [(model._meta.db_table, model._meta.pk) for model in tables()]
    return [(table, str(key.column)) for table, key in found if isinstance(key, models.AutoField)]


def _sequence(cursor: Any, table: str, key: str) -> str:
    cursor.execute("SELECT pg_get_serial_sequence(%s, %s)", [connection.ops.quote_name(table), key])
    return str(cursor.fetchone()[0])


# -- in ------------------------------------------------------------------------------------------------------


def clear() -> None:
    """Delete every row. In a transaction, before `load`; on PostgreSQL nobody else writes until its end.

    By SQL, since the models of what is written once refuse. Keys from one table to another are checked at the
    end (`check`), so the order of the tables does not matter here or in `load`.
    """
    with connection.cursor() as cursor:
        names = [connection.ops.quote_name(model._meta.db_table) for model in tables()]
        if connection.vendor == "postgresql":
            cursor.execute(f"LOCK TABLE {', '.join(names)} IN EXCLUSIVE MODE")
        for name in names:
            cursor.execute(f"DELETE FROM {name}")


def load(model: type[models.Model], written: Iterable[bytes]) -> int:
    """Insert what `lines` wrote and return how many rows there were. Raises `WrongRows` where the columns are
    others."""
    written = iter(written)
    fields = {column.attname: column for column in model._meta.concrete_fields}
    columns: list[str] = json.loads(next(written, b"[]"))
    if sorted(columns) != sorted(fields):
        raise WrongRows(f"{model._meta.db_table} has other columns here")
    ordered = [fields[name] for name in columns]
    quote = connection.ops.quote_name
    into = f"{quote(model._meta.db_table)} ({', '.join(quote(str(column.column)) for column in ordered)})"
    insert = f"INSERT INTO {into} VALUES ({', '.join(['%s'] * len(ordered))})"
    count = 0
    with connection.cursor() as cursor:
        while batch := list(islice(written, BATCH)):
            cursor.executemany(
                insert,
                [
                    [_stored(column, value) for column, value in zip(ordered, json.loads(line), strict=True)]
                    for line in batch
                ],
            )
            count += len(batch)
    return count


def _stored(column: Any, value: Any) -> Any:
    if value is not None and not isinstance(column, models.JSONField):
        value = column.to_python(value)
    return column.get_db_prep_save(value, connection)


def check() -> None:
    """Raise `IntegrityError` if a row points at one that is not there."""
    connection.check_constraints()


def raise_sequences(last: dict[str, int]) -> None:
    """Go on numbering after `last`, or after what was given out here, whichever is more. The last thing in a
    transaction: on PostgreSQL it stays when the transaction does not."""
    with connection.cursor() as cursor:
        for table, key in _numbered():
            number = last.get(table, 0)
            if not number:
                continue
            if connection.vendor == "sqlite":
                cursor.execute(
                    "UPDATE sqlite_sequence SET seq = max(seq, %s) WHERE name = %s", [number, table]
                )
                if not cursor.rowcount:
                    cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [table, number])
            else:
                name = _sequence(cursor, table, key)
                most = f"GREATEST(%s, (SELECT last_value FROM {name}))"
                cursor.execute(f"SELECT setval(%s, {most})", [name, number])
