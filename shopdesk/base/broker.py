"""Celery's broker of files, for a shop on one machine: kombu's, but a nudge is there whole or not at all.

kombu makes the file and then writes it; a worker that looks between the two reads nothing and dies of it. A
nudge that cannot be read is dropped: the rows say what there is to do, and the sweep finds them.
"""

from __future__ import annotations

import contextlib
import uuid
from pathlib import Path
from queue import Empty
from time import monotonic
from typing import Any

from kombu.exceptions import ChannelError
from kombu.transport import TRANSPORT_ALIASES, filesystem
from kombu.utils.json import dumps

from shopdesk.base.files import PART

SCHEME = "files"


class Channel(filesystem.Channel):
    def _put(self, queue: str, payload: Any, **kwargs: Any) -> None:  # type: ignore[override]  # as in kombu
        folder, name = Path(self.data_folder_out), f"{monotonic() * 1000:.0f}_{uuid.uuid4()}"
        part = folder / f"{PART}{name}"
        try:
            part.write_text(dumps(payload))
            part.replace(folder / f"{name}.{queue}.msg")
        except OSError as error:
            raise ChannelError(f"Cannot add a nudge to {folder}") from error

    def _get(self, queue: str, timeout: float | None = None) -> Any:
        try:
            return super()._get(queue)
        except ValueError as error:
            raise Empty from error

    def _queue_bind(self, exchange: str, routing_key: str, pattern: str | None, queue: str) -> None:
        try:
            super()._queue_bind(exchange, routing_key, pattern, queue)
        except ValueError:  # somebody died while writing it down, or is at it: begin it anew
            with contextlib.suppress(FileNotFoundError):
                (Path(self.control_folder) / f"{exchange}.exchange").unlink()
            super()._queue_bind(exchange, routing_key, pattern, queue)


class Transport(filesystem.Transport):
    Channel = Channel


TRANSPORT_ALIASES[SCHEME] = f"{__name__}:Transport"
