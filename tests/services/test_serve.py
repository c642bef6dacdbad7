"""`manage.py serve`: the parts run, come back when they die, and are gone when it is."""

from __future__ import annotations

import os
import re
import signal
import socket
import sqlite3
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from tests.services.serving import Served, alive, manage, wait_for

pytestmark = pytest.mark.services


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One folder for all tests here: its type is cut once."""
    return tmp_path_factory.mktemp("served")


@pytest.fixture(scope="module")
def running(home: Path) -> Iterator[Served]:
    with Served(home) as served:
        yield served.until_up()


def get(url: str) -> tuple[int, str]:
    with urllib.request.urlopen(url, timeout=20) as answer:  # noqa: S310  our own address
        return answer.status, answer.read().decode()


def test_pages_come_with_the_style_sheet_that_they_name(running: Served) -> None:
    status, page = get(f"{running.url}/desk/set-up/")
    assert status == 200
    sheet = re.search(r'href="(/static/\S+?\.css)"', page)
    assert sheet, page
    assert "font-family" in get(running.url + sheet[1])[1]


def test_an_empty_shop_is_told_how_to_begin(running: Served, home: Path) -> None:
    assert f"{running.url}/desk/set-up/" in running.printed
    assert f"{running.url}/request/" in running.printed
    code = re.search(r"works once: +([a-z]{4}-[a-z]{4})$", running.printed, re.MULTILINE)
    assert code, running.printed
    with sqlite3.connect(home / "shop.sqlite3") as database:
        assert database.execute("select count(*) from shop_setupcode").fetchone() == (1,)


def test_a_worker_is_at_work_from_the_beginning(running: Served, home: Path) -> None:
    def seen() -> bool:
        with sqlite3.connect(home / "shop.sqlite3") as database:
            return bool(database.execute("select count(*) from base_heartbeat").fetchone()[0])

    wait_for(seen, "a worker has said that it is alive", 15)


def test_a_second_one_in_the_same_folder_is_refused(running: Served, home: Path) -> None:
    second = manage(home, "serve", "--port", "0")
    assert second.returncode == 2
    assert second.stderr.strip() == (
        f"CommandError: The shop in {home} is running already (process {running.process.pid}). Stop it first."
    )
    assert get(f"{running.url}/desk/set-up/")[0] == 200


def test_it_is_backed_up_while_it_runs_and_not_restored(running: Served, home: Path, tmp_path: Path) -> None:
    backup = tmp_path / "shop.backup"
    done = manage(home, "backup", str(backup))
    assert done.returncode == 0, done.stderr
    assert manage(home, "restore", "--check", str(backup)).returncode == 0
    no = manage(home, "restore", "--replace", str(backup))
    assert no.returncode == 1
    assert "is running already" in no.stderr


@pytest.mark.parametrize("word", ["worker", "beat", "gunicorn"])
def test_a_part_that_is_killed_comes_back(running: Served, word: str) -> None:
    old = running.part(word)
    assert old > 0
    others = {running.part(other) for other in ("worker", "beat", "gunicorn")} - {old}
    its_own = [pid for pid, parent in running.family().items() if parent == old]
    assert its_own or word == "beat"
    said = len(running.lines)
    os.kill(old, signal.SIGKILL)
    wait_for(lambda: running.part(word) not in (-1, old), f"another {word} runs")
    assert [pid for pid in (old, *its_own) if alive(pid)] == []  # nothing of it goes on
    assert all(map(alive, others))
    lines = [line for line in running.lines[said:] if "SIGKILL" in line]
    assert len(lines) == 1
    assert "it starts again" in lines[0]
    assert get(f"{running.url}/desk/set-up/")[0] == 200


def test_sigterm_stops_all_of_it_and_it_starts_again_in_the_same_folder(home: Path, running: Served) -> None:
    pids = [running.process.pid, *running.family()]
    assert len(pids) > 6
    assert running.stop() == 0
    assert running.lines[-1] == "Stopped"
    assert [pid for pid in pids if alive(pid)] == []

    with Served(home) as again:
        again.until_up()
        assert "Bringing the database up to date" not in again.printed
        assert again.stop(signal.SIGINT) == 0
        assert again.lines[-1] == "Stopped"


def test_its_parts_do_not_outlive_one_that_is_killed_outright(home: Path, running: Served) -> None:
    if running.process.poll() is None:
        running.stop()
    with Served(home) as served:
        pids = list(served.until_up().family())
        assert len(pids) > 5
        served.process.kill()
        wait_for(lambda: not any(map(alive, pids)), "all parts are gone", 20)


def test_a_port_that_is_taken_is_said_and_nothing_is_left_running(var: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        refused = manage(var, "serve", "--port", str(port))
    assert refused.returncode == 2
    said = "cannot be had: address already in use. Choose another with --port."
    assert refused.stderr.strip() == f"CommandError: Port {port} of 127.0.0.1 {said}"
    assert not (var / "shop.sqlite3").exists()  # it was refused before anything was begun


def test_a_database_that_does_not_answer_is_said(var: Path) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    refused = manage(var, "serve", "--port", "0", DATABASE_URL=f"postgres://nobody@127.0.0.1:{port}/none")
    assert refused.returncode == 2
    assert refused.stderr.startswith("CommandError: The database cannot be used: ")
    assert "Traceback" not in refused.stderr


def test_it_runs_on_postgresql_and_redis(
    home: Path, running: Served, redis_url: str, postgres_database: str
) -> None:
    if running.process.poll() is None:
        running.stop()
    with Served(home, DATABASE_URL=postgres_database, REDIS_URL=redis_url) as served:
        served.until_up()
        assert get(f"{served.url}/desk/set-up/")[0] == 200
        with psycopg.connect(postgres_database, autocommit=True) as server:
            beats = "SELECT count(*) FROM base_heartbeat"
            wait_for(lambda: server.execute(beats).fetchone() == (1,), "a worker is alive", 15)
        assert served.stop() == 0
