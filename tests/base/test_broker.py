"""The broker of files: what cannot be read of it is passed over, and nothing half-written is ever there."""

from __future__ import annotations

import threading
from pathlib import Path
from queue import Empty
from typing import Any

import pytest
from kombu import Connection
from kombu.transport.virtual import Channel

from shopdesk.base import broker


@pytest.fixture
def channel(tmp_path: Path) -> Any:
    folders = {name: tmp_path / name for name in ("in", "control", "processed")}
    for folder in folders.values():
        folder.mkdir()
    options = {
        "data_folder_in": str(folders["in"]),
        "data_folder_out": str(folders["in"]),
        "control_folder": str(folders["control"]),
        "processed_folder": str(folders["processed"]),
    }
    with Connection(f"{broker.SCHEME}://localhost", transport_options=options) as connection:
        made = connection.channel()
        assert isinstance(made, Channel)
        yield made


def test_a_nudge_that_is_not_whole_is_passed_over(channel: Any, tmp_path: Path) -> None:
    (tmp_path / "in" / "1_a.celery.msg").write_text("")
    (tmp_path / "in" / "2_b.celery.msg").write_text('{"body":')
    channel._put("celery", {"body": "look"})
    got = []
    for _ in range(3):
        try:
            got.append(channel._get("celery"))
        except Empty:
            got.append(None)
    assert got.count(None) == 2
    assert {"body": "look"} in got
    assert not list((tmp_path / "in").iterdir())


def test_whoever_looks_while_it_is_written_finds_it_whole(channel: Any) -> None:
    many = 300
    seen: list[int] = []
    writer = threading.Thread(
        target=lambda: [channel._put("celery", {"body": "x" * 5_000, "number": n}) for n in range(many)]
    )
    writer.start()
    while writer.is_alive() or len(seen) < many:
        try:
            seen.append(channel._get("celery")["number"])
        except Empty:
            if not writer.is_alive() and not any(Path(channel.data_folder_in).iterdir()):
                break
    writer.join()
    assert sorted(seen) == list(range(many))


def test_a_list_of_queues_that_was_cut_off_is_begun_anew(channel: Any, tmp_path: Path) -> None:
    (tmp_path / "control" / "shop.exchange").write_text("")
    channel._queue_bind("shop", "key", "", "celery")
    assert [one.queue for one in channel.get_table("shop")] == ["celery"]
