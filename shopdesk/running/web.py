"""The web server's worker: gunicorn's with threads, of which nobody holds one by saying nothing."""

from __future__ import annotations

import socket
import struct
from typing import Any

from gunicorn.workers.gthread import ThreadWorker

SILENCE = 20
"""Seconds without a byte, in a request's head or body or while an answer is fetched, after which a connection
is closed."""


class ImpatientWorker(ThreadWorker):  # type: ignore[misc]  # gunicorn has no types
    def handle(self, conn: Any) -> Any:
        # By the system and not by `settimeout`: gunicorn makes the socket wait for ever on its way to a
        # request's head.
        for way in (socket.SO_RCVTIMEO, socket.SO_SNDTIMEO):
            conn.sock.setsockopt(socket.SOL_SOCKET, way, struct.pack("ll", SILENCE, 0))
        return super().handle(conn)
