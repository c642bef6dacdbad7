"""How parts are looked after. What the real ones do is in `tests/services/test_serve.py`."""

from __future__ import annotations

import signal
import time
from pathlib import Path
from typing import Any

import pytest

from shopdesk.running import processes
from shopdesk.running.processes import WORKER, CannotServe, Part, Shopkeeper, how_it_ended
from tests.services.serving import alive

DEAF = [
    "timeit",
    "-n",
    "1",
    "-s",
    "import signal, time; signal.signal(15, signal.SIG_IGN); print('deaf', flush=True)",
]


@pytest.fixture(autouse=True)
def _a_folder(tmp_path: Path, settings: Any) -> None:
    settings.VAR = tmp_path


def keeper_of(command: list[str], monkeypatch: pytest.MonkeyPatch) -> tuple[Shopkeeper, list[str]]:
    """One that looks after a single part, which runs that module; and what it says."""
    said: list[str] = []
    monkeypatch.setattr(Shopkeeper, "_command", lambda self, name: command)
    return Shopkeeper(parts=(WORKER,), say=said.append), said


def test_who_dies_young_waits_longer_each_time() -> None:
    part = Part("worker", [], started=100.0)
    assert [part.pause(101.0) for _ in range(9)] == [0, 1, 2, 4, 8, 16, 30, 30, 30]
    assert part.pause(1000.0) == 0  # this one had a long life
    part.started = 1000.0
    assert [part.pause(1001.0) for _ in range(2)] == [0, 1]


@pytest.mark.django_db
def test_a_part_that_cannot_run_is_said_once_a_death(monkeypatch: pytest.MonkeyPatch) -> None:
    keeper, said = keeper_of(["shopdesk.no_such_module"], monkeypatch)
    end = time.monotonic() + 15
    with keeper:
        keeper.start()
        while len(said) < 2 and time.monotonic() < end:
            keeper.tend()
            time.sleep(0.02)
    assert said == [
        "The worker ended with exit code 1; it starts again now.",
        "The worker ended with exit code 1; it starts again in 1 s.",
    ]


@pytest.mark.django_db
def test_a_part_that_does_not_listen_is_cut_off(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(processes, "PATIENCE", 0.3)
    keeper, said = keeper_of([*DEAF, "time.sleep(60)"], monkeypatch)
    keeper.start()
    (part,) = keeper._parts
    assert part.process is not None
    end, printed = time.monotonic() + 15, ""
    while "deaf" not in printed and time.monotonic() < end:
        printed += capfd.readouterr().out
        time.sleep(0.02)
    keeper.stop()
    assert said == ["The worker was still busy and is cut off."]
    assert not alive(part.process.pid)


def test_folder_and_port_are_free_again_after_stopping(monkeypatch: pytest.MonkeyPatch) -> None:
    first = Shopkeeper(port=0)
    first.claim()
    with pytest.raises(CannotServe, match="address already in use"):
        Shopkeeper(port=first.port)._listen()
    first.stop()
    again = Shopkeeper(port=first.port)
    again.claim()
    assert again.port == first.port
    again.stop()


@pytest.mark.parametrize(
    ("host", "port", "sentence"),
    [
        ("192.0.2.1", 0, "cannot be had: cannot assign requested address"),  # RFC 5737: nobody has it
        ("127.0.0.1", 70000, "There is no port 70000"),
    ],
)
def test_an_address_that_is_none_is_said(host: str, port: int, sentence: str) -> None:
    with pytest.raises(CannotServe, match=sentence):
        Shopkeeper(host=host, port=port).claim()


def test_links_lead_to_the_port_unless_they_are_told_where(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("PUBLIC_URL", raising=False)
    assert Shopkeeper(port=8123).url == "http://localhost:8123"
    assert Shopkeeper(port=8123).environment()["PUBLIC_URL"] == "http://localhost:8123"
    monkeypatch.setenv("PUBLIC_URL", "https://shop.example.com/")
    assert Shopkeeper(port=8123).environment()["PUBLIC_URL"] == "https://shop.example.com"
    assert Shopkeeper(port=8123, environ={"PUBLIC_URL": "http://localhost:9"}).url == "http://localhost:9"


def test_an_end_in_words() -> None:
    assert how_it_ended(3) == "ended with exit code 3"
    assert how_it_ended(-signal.SIGKILL) == "was ended by SIGKILL"
    assert how_it_ended(-200) == "was ended by signal 200"
