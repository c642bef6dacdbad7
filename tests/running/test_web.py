"""A connection on which nothing more comes is given up."""

from __future__ import annotations

import socket
import time
from types import SimpleNamespace
from typing import Any

import pytest
from gunicorn.workers.gthread import ThreadWorker

from shopdesk.running import web
from shopdesk.running.processes import WEB, Shopkeeper


def test_the_web_server_runs_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    keeper = Shopkeeper(port=0)
    with socket.socket() as listener:
        monkeypatch.setattr(keeper, "_listener", listener)
        command = keeper._command(WEB)
    assert command[command.index("--worker-class") + 1] == "shopdesk.running.web.ImpatientWorker"


def test_silence_ends_the_wait_for_a_head_and_for_a_body(monkeypatch: pytest.MonkeyPatch) -> None:
    def reads(_worker: Any, conn: Any) -> None:
        conn.sock.setblocking(True)  # as gunicorn does
        conn.sock.recv(1)

    monkeypatch.setattr(ThreadWorker, "handle", reads)
    monkeypatch.setattr(web, "SILENCE", 1)
    ours, theirs = socket.socketpair()
    with ours, theirs:
        worker = web.ImpatientWorker.__new__(web.ImpatientWorker)
        begun = time.monotonic()
        with pytest.raises(BlockingIOError):
            worker.handle(SimpleNamespace(sock=ours))
        assert 0.5 < time.monotonic() - begun < 10
        theirs.send(b"x")
        worker.handle(SimpleNamespace(sock=ours))
