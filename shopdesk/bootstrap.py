"""From a fresh clone to a running Django, with nothing but Python's standard library.

`manage.py` calls `prepare` before it touches Django. Where the packages are there already (an active
environment, a container with the pins installed) it returns at once and `manage.py` is plain Django.
Otherwise it

1. looks for the native libraries (and, for `test`, Chromium) that the command needs, and installs them as
   root on a machine with apt, or prints the commands that would and stops;
2. makes `.venv`, or brings it up to the pins in `shared/locks/`;
3. re-runs the same command line inside.

`.venv/shopdesk.json` is the note that tells what an environment is: no note, somebody made it by hand and it
is never thrown away; `{}`, we began and did not finish, so it is thrown away; otherwise the place, the Python
and the SHA-256 of each lock that it was made from. Every failure ends with a sentence and exit code 2.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from importlib import metadata, util
from pathlib import Path
from types import FrameType
from typing import NoReturn

from shopdesk import natives

DJANGO = "5.2."
PACKAGES = ("django", "celery", "weasyprint", "crispy_forms", "environ", "PIL")
NATIVE_COMMANDS = ("demo", "serve", "test", "measure")
ARRIVED = "SHOPDESK_SET_UP_DONE"
TAIL = 15
"""How many of a failed step's last lines are shown."""


class Stop(Exception):
    """Set-up cannot go on: the message is for the person at the terminal."""

    def __init__(self, message: str, code: int = 2) -> None:
        super().__init__(message)
        self.code = code


def say(line: str) -> None:
    """One line a step, on stderr: a command's own output stays clean."""
    print(line, file=sys.stderr, flush=True)


# --- The way in ------------------------------------------------------------------------------------------


def prepare(root: Path, argv: Sequence[str]) -> None:
    """Return when Django can run in this process; otherwise set up and re-run inside, or exit with 2."""
    command = argv[1] if len(argv) > 1 else ""
    testing = command == "test"
    venv = root / ".venv"
    inside = venv.is_dir() and venv.samefile(sys.prefix)
    try:
        if not (inside and read_note(venv) is not None) and has_packages():
            if testing and util.find_spec("pytest") is None:
                raise Stop(
                    "This environment can run the shop but not its tests. Install what they need with:\n"
                    f"  {sys.executable} -m pip install --require-hashes -r {lock(root, testing=True)}"
                )
            return
        arrived = os.environ.pop(ARRIVED, "") == "1"
        if not arrived:
            lacking = natives.missing(testing) if command in NATIVE_COMMANDS else []
            if not venv.exists() and not natives.is_there(natives.VENV):
                lacking.append(natives.VENV)
            provide(lacking)
        if is_current(root, testing):
            if inside and has_packages():
                return
            if not inside:
                with contextlib.suppress(OSError):
                    hand_over(venv)
                write_note(venv, {})  # Its Python is gone from the machine: make it anew.
            elif not arrived:  # Somebody took a package out by hand: put all of them back.
                note_path(venv).unlink()
        if arrived:
            raise Stop(
                "The environment in .venv was made just now and still lacks some of its packages. "
                "Remove the folder .venv and run the same command again."
            )
        make_ready(root, testing)
        os.environ[ARRIVED] = "1"
        hand_over(venv)
    except Stop as stop:
        say(str(stop))
        sys.exit(stop.code)
    except OSError as error:  # No room, no permission, a file where a folder should be.
        say(f"Setting up failed: {error}")
        sys.exit(2)


def has_packages() -> bool:
    """Whether this very Python can import what the shop is made of, Django in the right series."""
    if any(util.find_spec(name) is None for name in PACKAGES):
        return False
    try:
        return metadata.version("django").startswith(DJANGO)
    except metadata.PackageNotFoundError:
        return False


def hand_over(venv: Path) -> NoReturn:
    """Replace this process by the same command line under the environment's Python."""
    python = venv / "bin" / "python"
    environment = dict(os.environ, VIRTUAL_ENV=str(venv))
    environment["PATH"] = f"{venv / 'bin'}{os.pathsep}{os.environ.get('PATH', os.defpath)}"
    if sys.platform == "darwin":  # Where Homebrew puts libraries is not where macOS looks for them.
        environment.setdefault("DYLD_FALLBACK_LIBRARY_PATH", ":".join((*natives.BREW_FOLDERS, "/usr/lib")))
    sys.stdout.flush()
    sys.stderr.flush()
    os.execve(python, [str(python), *sys.orig_argv[1:]], environment)


# --- The environment -------------------------------------------------------------------------------------


def lock(root: Path, testing: bool) -> Path:
    """The pinned requirements; those to test include those to run."""
    return root / "shared" / "locks" / ("test.txt" if testing else "run.txt")


def note_path(venv: Path) -> Path:
    return venv / "shopdesk.json"


def read_note(venv: Path) -> dict[str, str] | None:
    """None: not made here. Empty: not finished, or unreadable. See the module's docstring."""
    try:
        note = json.loads(note_path(venv).read_text("utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError):
        return {}
    return note if isinstance(note, dict) else {}


def write_note(venv: Path, note: dict[str, str]) -> None:
    fresh = note_path(venv).with_suffix(f".{os.getpid()}")
    fresh.write_text(json.dumps(note, indent=1), "utf-8")
    fresh.replace(note_path(venv))


def wanted_note(root: Path, testing: bool) -> dict[str, str]:
    """What the note says of an environment that is up to date; raises Stop when a lock is not there."""
    note = {"place": str(root), "python": "{}.{}".format(*sys.version_info)}
    for path in {lock(root, False), lock(root, testing)}:
        try:
            note[path.name] = hashlib.sha256(path.read_bytes()).hexdigest()
        except OSError as error:
            raise Stop(f"The list of packages {path} cannot be read: {error.strerror}.") from error
    return note


def is_current(root: Path, testing: bool) -> bool:
    """Cheap: hashes two small files. A moved folder, another Python or a changed lock is not current."""
    wanted = wanted_note(root, testing)
    return wanted.items() <= (read_note(root / ".venv") or {}).items()


def make_ready(root: Path, testing: bool) -> None:
    """Make `.venv`, or bring it up to the pins; afterwards it is complete, or gone, or as it was before.

    Packages are fetched and checked against their hashes before the environment is touched, so an upgrade
    that fails for want of a network leaves the old environment in use.
    """
    if os.name == "nt":
        raise Stop("Setting up needs Linux or macOS; on Windows use the Linux subsystem.")
    venv = root / ".venv"
    with Ear() as ear, only_one(root, ear) as lock_fd:
        if is_current(root, testing):
            return
        for leftover in root.glob(".venv.gone-*"):
            shutil.rmtree(leftover, ignore_errors=True)
        note = read_note(venv)
        testing = testing or "test.txt" in (note or {})
        if not can_stay(venv, note, root):
            discard(venv)
        run = Runner(ear, lock_fd)
        try:
            if not venv.exists():
                make(venv, run)
            install(venv, lock(root, testing), run)
            write_note(venv, wanted_note(root, testing))
        except BaseException:
            if read_note(venv) == {}:
                discard(venv)
            raise


def can_stay(venv: Path, note: dict[str, str] | None, root: Path) -> bool:
    """Whether an environment can be built upon. One made by hand stays if its Python runs and is ours."""
    version = "{}.{}".format(*sys.version_info)
    if note is not None:
        right = note.get("place") == str(root) and note.get("python") == version
        return right and python_version(venv) == version
    found = python_version(venv)
    if found and found != version:
        raise Stop(
            f"The folder .venv holds an environment with Python {found}, made by hand, and this is Python "
            f"{version}. Remove it, or run this command with its Python: .venv/bin/python manage.py ..."
        )
    return found == version


def python_version(venv: Path) -> str:
    """`3.12`, or nothing where there is no Python that runs."""
    try:
        asked = subprocess.run(
            [venv / "bin" / "python", "-I", "-c", "import sys; print('{}.{}'.format(*sys.version_info))"],
            capture_output=True,
            text=True,
            timeout=30,
            check=True,
        )
    except (OSError, subprocess.SubprocessError):
        return ""
    return asked.stdout.strip()


def make(venv: Path, run: Runner) -> None:
    if not natives.is_there(natives.VENV):
        provide([natives.VENV])
    version = "{}.{}.{}".format(*sys.version_info)
    say(f"Making a virtual environment in .venv (Python {version})")
    venv.mkdir()
    write_note(venv, {})
    base = getattr(sys, "_base_executable", None) or sys.executable
    run("The virtual environment could not be made.", [base, "-m", "venv", str(venv)])


def install(venv: Path, pins: Path, run: Runner) -> None:
    pip = [str(venv / "bin" / "python"), "-m", "pip", "--disable-pip-version-check"]
    count = sum("==" in line for line in pins.read_text("utf-8").splitlines())
    with tempfile.TemporaryDirectory(prefix="shopdesk-set-up-") as wheels:
        say(f"Fetching the {count} packages of {pins.name}, each checked against its hash")
        run(
            "The packages could not be fetched. Is there a network, and room on the disk?",
            [*pip, "wheel", "--no-deps", "--require-hashes", "-r", str(pins), "-w", wheels],
        )
        if read_note(venv) is not None:  # From here to the end it is neither the old nor the new environment.
            write_note(venv, {})
        say("Installing them into .venv")
        fetched = sorted(str(path) for path in Path(wheels).glob("*.whl"))
        run(
            "The packages could not be installed.",
            [*pip, "install", "--no-index", "--no-deps", "--no-warn-script-location", *fetched],
        )


def discard(venv: Path) -> None:
    """Out of the way in one step, so that no half-removed environment ever bears the name."""
    if venv.is_symlink():
        venv.unlink()
    elif venv.exists():
        gone = venv.with_name(f"{venv.name}.gone-{os.getpid()}")
        venv.rename(gone)
        shutil.rmtree(gone, ignore_errors=True)


# --- What pip cannot bring ------------------------------------------------------------------------------


def provide(missing: Sequence[natives.Native]) -> None:
    """Install with apt what is missing, as root; raises Stop with the commands where that cannot be."""
    if not missing:
        return
    if os.geteuid() == 0 and shutil.which("apt-get") and os.environ.get("SHOPDESK_NO_APT", "") != "1":
        packages = sorted({native.debian for native in missing})
        say(f"Installing {', '.join(packages)} with apt")
        with Ear() as ear:
            run, apt = Runner(ear), ["apt-get", "-q", "-y", "-o", "DPkg::Lock::Timeout=300"]
            quiet = {"DEBIAN_FRONTEND": "noninteractive"}
            try:
                run("apt-get update failed.", [*apt, "update"], **quiet)
                run(
                    "apt-get install failed.",
                    [*apt, "install", "--no-install-recommends", *packages],
                    **quiet,
                )
            except Stop as stop:
                raise Stop(f"{stop}\n{natives.how_to_provide(missing)}", stop.code) from stop
        importlib.invalidate_caches()
        missing = [native for native in missing if not natives.is_there(native)]
    if missing:
        raise Stop(natives.how_to_provide(missing))


# --- Steps that can be stopped ---------------------------------------------------------------------------


class Ear:
    """Notes Ctrl-C, SIGTERM and SIGHUP; `heed` raises for them between two steps, never inside one."""

    def __init__(self) -> None:
        self.heard = 0
        self._before: dict[int, Callable[[int, FrameType | None], object] | int | None] = {}

    def __enter__(self) -> Ear:
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            before = signal.getsignal(number)
            if number == signal.SIGHUP and before == signal.SIG_IGN:  # nohup
                continue
            self._before[number] = before
            signal.signal(number, self._hear)
        return self

    def __exit__(self, *_: object) -> None:
        for number, before in self._before.items():
            signal.signal(number, before)

    def _hear(self, number: int, _frame: FrameType | None) -> None:
        self.heard = number

    def heed(self) -> None:
        if self.heard:
            raise Stop("Stopped.", code=128 + self.heard)


class Runner:
    """Runs one step's program in a process group of its own, so that stopping takes its children along."""

    def __init__(self, ear: Ear, lock_fd: int | None = None) -> None:
        self.ear = ear
        # A child holds the set-up's lock too: if this process is killed outright, the next waits for it.
        self.keep = () if lock_fd is None else (lock_fd,)

    def __call__(self, failure: str, command: Sequence[str], **environment: str) -> None:
        """Raises Stop with `failure` and the program's last lines if it fails, or at once on a signal."""
        self.ear.heed()
        try:
            child = subprocess.Popen(
                command,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                text=True,
                errors="replace",
                start_new_session=True,
                pass_fds=self.keep,
                env=dict(os.environ, **environment),
            )
        except OSError as error:
            raise Stop(f"{failure} ({error.strerror}: {command[0]})") from error
        while True:
            try:
                printed, _ = child.communicate(timeout=0.1)
                break
            except subprocess.TimeoutExpired:
                if self.ear.heard:
                    end_group(child)
                    self.ear.heed()
        if child.returncode:
            tail = "\n".join(f"  {line}" for line in printed.strip().splitlines()[-TAIL:])
            raise Stop(f"{tail}\n{failure}" if tail else failure)
        self.ear.heed()


def end_group(child: subprocess.Popen[str], patience: float = 20.0) -> None:
    """SIGTERM to the child and all it started; SIGKILL to those that do not listen."""
    with contextlib.suppress(ProcessLookupError, PermissionError):  # Gone already; macOS says the latter.
        os.killpg(child.pid, signal.SIGTERM)
        with contextlib.suppress(subprocess.TimeoutExpired):
            child.communicate(timeout=patience)
        os.killpg(child.pid, signal.SIGKILL)
    child.wait()


@contextlib.contextmanager
def only_one(root: Path, ear: Ear) -> Iterator[int]:
    """Two set-ups at once: the second waits here. Yields the locked file's descriptor."""
    import fcntl  # Not on Windows, where this is never reached.

    fd = os.open(root / ".venv.lock", os.O_RDWR | os.O_CREAT, 0o644)
    try:
        told = False
        while True:
            try:
                fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if not told:
                    say("Another set-up is at work in this folder; waiting for it")
                told = True
                ear.heed()
                time.sleep(0.1)
        yield fd
    finally:
        os.close(fd)
