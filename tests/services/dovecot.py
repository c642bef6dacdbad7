"""An IMAP server of a test's own: Dovecot on loopback, with a certificate authority, users and mail in a
folder that goes when the test ends."""

from __future__ import annotations

import contextlib
import getpass
import grp
import os
import pwd
import random
import shutil
import signal
import socket
import subprocess
import tempfile
import time
import uuid
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from urllib.parse import quote

import pytest

from tests.conftest import need

USER, PASSWORD = "hello@tidewell.example.com", "quay/7 ?#@%"
OTHER, OTHERS_PASSWORD = "möwe@tidewell.example.com", "Möwenweg"
QUOTA_MB = 60
_MAIL_USER = "mail"
"""Debian's own; Dovecot reads no mail as root."""
_NEW = "req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -days 2"

_CONFIG = """
base_dir = {folder}/run
state_dir = {folder}/run
log_path = {folder}/log
instance_name = {name}
protocols = imap
listen = 127.0.0.1
ssl = required
ssl_cert = <{folder}/{cert}.pem
ssl_key = <{folder}/{cert}.key
disable_plaintext_auth = yes
auth_mechanisms = plain login
auth_failure_delay = 0
auth_username_chars =
first_valid_uid = 1
default_process_limit = 20
shutdown_clients = yes
mail_location = maildir:~/Maildir
mail_fsync = never
mail_plugins = quota
passdb {{
  driver = passwd-file
  args = username_format=%u {folder}/users
}}
userdb {{
  driver = static
  args = uid={owner} gid={group} home={folder}/home/%u
}}
service imap-login {{
  chroot =
  inet_listener imap {{
    port = {plain_port}
  }}
  inet_listener imaps {{
    port = {port}
    ssl = yes
  }}
}}
service anvil {{
  chroot =
}}
service stats {{
  chroot =
}}
protocol imap {{
  mail_plugins = quota imap_quota
  mail_max_userip_connections = 20
}}
plugin {{
  quota = dirsize:Mail
  quota_rule = *:storage={quota}M
}}
{extra}
"""


class Dovecot:
    """`deliver` puts a message into the mailbox as a mail server's last hop does; `url` and `ca` are what
    INBOX_URL and INBOX_CA have to be."""

    def __init__(self, folder: Path, program: str) -> None:
        self.folder = folder
        self._program = program
        self.port, self.plain_port = _free_port(), _free_port()
        self._process: subprocess.Popen[bytes] | None = None
        self._owner = pwd.getpwnam(_MAIL_USER if os.geteuid() == 0 else getpass.getuser())
        self._number = 0
        folder.chmod(0o711)  # the mail's owner walks through it
        (folder / "run").mkdir()
        self._certificates()
        lines = [f"{USER}:{{PLAIN}}{PASSWORD}", f"{OTHER}:{{PLAIN}}{OTHERS_PASSWORD}"]
        (folder / "users").write_text("\n".join(lines) + "\n", encoding="utf-8")
        for user in (USER, OTHER):
            for part in ("cur", "new", "tmp"):
                (self.maildir(user) / part).mkdir(parents=True)
        self._own(folder / "home")
        self.configure()

    # -- where it is -----------------------------------------------------------------------------------------

    @property
    def url(self) -> str:
        return self.address(USER, PASSWORD)

    def address(
        self, user: str, password: str, scheme: str = "imaps", host: str = "127.0.0.1", folder: str = "INBOX"
    ) -> str:
        port = self.port if scheme == "imaps" else self.plain_port
        return f"{scheme}://{quote(user, safe='')}:{quote(password, safe='')}@{host}:{port}/{quote(folder)}"

    @property
    def ca(self) -> str:
        return str(self.folder / "ca.pem")

    def maildir(self, user: str = USER) -> Path:
        return self.folder / "home" / user / "Maildir"

    # -- what is in it ---------------------------------------------------------------------------------------

    def deliver(self, raw: bytes, *, user: str = USER, at: datetime | None = None) -> Path:
        """Put a message into the mailbox, as if it had come `at` that moment."""
        self._number += 1
        name = f"{int(time.time())}.M{self._number:06}P{os.getpid()}.example"
        part, there = self.maildir(user) / "tmp" / name, self.maildir(user) / "new" / name
        part.write_bytes(raw)
        self._own(part)
        if at is not None:
            os.utime(part, (at.timestamp(), at.timestamp()))
        part.rename(there)
        return there

    def messages(self, user: str = USER) -> dict[str, bytes]:
        """Every message by folder and file name: a name in `new`, or after `:2,` in `cur`, tells of every
        flag."""
        return {
            f"{part}/{path.name}": path.read_bytes()
            for part in ("new", "cur")
            for path in (self.maildir(user) / part).iterdir()
        }

    def number_anew(self, user: str = USER) -> None:
        """Forget the numbers that were given out: the mailbox gets another UIDVALIDITY. While it is down."""
        assert self._process is None
        for path in self.maildir(user).glob("dovecot*"):
            path.unlink()
        # It gives out the second as UIDVALIDITY: let it be another than before.
        time.sleep(1.1)

    # -- its life --------------------------------------------------------------------------------------------

    def configure(self, *, cert: str = "server", extra: str = "") -> None:
        as_root = os.geteuid() == 0
        me = getpass.getuser()
        if not as_root:
            group = grp.getgrgid(self._owner.pw_gid).gr_name
            extra += f"\ndefault_internal_user = {me}\ndefault_login_user = {me}"
            extra += f"\ndefault_internal_group = {group}\n"
        text = _CONFIG.format(
            folder=self.folder,
            name=self.folder.name,
            cert=cert,
            owner=self._owner.pw_uid,
            group=self._owner.pw_gid,
            port=self.port,
            plain_port=self.plain_port,
            quota=QUOTA_MB,
            extra=extra,
        )
        (self.folder / "dovecot.conf").write_text(text, encoding="utf-8")

    def start(self) -> None:
        assert self._process is None
        self._process = subprocess.Popen(
            [self._program, "-F", "-c", str(self.folder / "dovecot.conf")],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        end = time.monotonic() + 30
        while not _greets(self.plain_port):
            assert self._process.poll() is None, self.log
            assert time.monotonic() < end, self.log
            time.sleep(0.05)

    def stop(self) -> None:
        """It goes, and whoever was being served by it with it."""
        process, self._process = self._process, None
        if process is None:
            return
        process.send_signal(signal.SIGTERM)
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(2)
        # The ones that serve somebody stay for as long as they are asked: they are in its session.
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait(10)

    @property
    def log(self) -> str:
        path = self.folder / "log"
        return path.read_text("utf-8", "replace") if path.exists() else "nothing logged"

    # -- its papers ------------------------------------------------------------------------------------------

    def _certificates(self) -> None:
        """An authority, what it vouches for ("server": this machine, "other-host": another), and one that
        vouches for itself ("stranger")."""
        self._openssl(
            f"{_NEW} -keyout ca.key -out ca.pem "
            "-subj /CN=Tests -addext basicConstraints=critical,CA:TRUE -addext keyUsage=critical,keyCertSign"
        )
        names = {"server": "DNS:localhost,IP:127.0.0.1", "other-host": "DNS:mail.other.example.com"}
        for cert, name in names.items():
            self._openssl(
                f"{_NEW} -keyout {cert}.key "
                f"-out {cert}.pem -subj /CN={cert} -CA ca.pem -CAkey ca.key -addext subjectAltName={name} "
                "-addext basicConstraints=critical,CA:FALSE"
            )
        self._openssl(
            f"{_NEW} -keyout stranger.key "
            "-out stranger.pem -subj /CN=stranger -addext subjectAltName=DNS:localhost,IP:127.0.0.1"
        )

    def _openssl(self, arguments: str) -> None:
        subprocess.run(["openssl", *arguments.split()], cwd=self.folder, check=True, capture_output=True)

    def _own(self, path: Path) -> None:
        if os.geteuid() == 0:
            for one in [path, *path.rglob("*")] if path.is_dir() else [path]:
                os.chown(one, self._owner.pw_uid, self._owner.pw_gid)


def letter(
    n: int = 1, *, sender: str = "ottoline@example.com", subject: str = "", body: bytes = b"", mark: str = ""
) -> bytes:
    """A message as it lies in a mailbox, with a Message-ID of its own."""
    head = (
        f"Return-Path: <{sender}>\r\nFrom: Ottoline Brask <{sender}>\r\nTo: {USER}\r\n"
        f"Subject: {subject or f'Letter {n}'}\r\n"
        f"Date: Wed, 25 Nov 2026 09:{n // 60 % 60:02}:{n % 60:02} +0000\r\n"
        f"Message-ID: <{mark or uuid.uuid4()}@mail.example.com>\r\nMIME-Version: 1.0\r\n"
        "Content-Type: text/plain; charset=utf-8\r\n\r\n"
    )
    return head.encode() + (body or f"These are the words of letter {n}.\r\n".encode())


def _free_port() -> int:
    """Below those that the system gives to whoever connects (`ip_local_port_range`): such a port may be taken
    for a moment when the server wants it, or connect to itself while nobody listens."""
    for port in random.SystemRandom().sample(range(20_000, 32_000), 100):
        with contextlib.suppress(OSError), socket.socket() as probe:
            probe.bind(("127.0.0.1", port))
            return port
    raise AssertionError("a hundred ports are in use")


def _greets(port: int) -> bool:
    with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=2) as line:
        return line.recv(4) == b"* OK"
    return False


def _program() -> str | None:
    return shutil.which("dovecot") or shutil.which("dovecot", path="/usr/sbin:/usr/local/sbin")


@contextlib.contextmanager
def running() -> Iterator[Dovecot]:
    program = _program()
    need(
        "dovecot",
        program is not None and shutil.which("openssl") is not None,
        "there is no dovecot or openssl",
    )
    assert program is not None
    folder = Path(tempfile.mkdtemp(prefix="shopdesk-dovecot-"))
    server = None
    try:
        server = Dovecot(folder, program)
        server.start()
        yield server
    finally:
        if server is not None:
            server.stop()
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def dovecot() -> Iterator[Dovecot]:
    """A mail server with an empty mailbox, whose `url` and `ca` go into the settings or a shop's
    environment."""
    with running() as server:
        yield server
