"""Setting up from nothing, in a small project of its own: real environments, real pip, packages made here.

No network: pip finds the tests' wheels in a folder, or talks to a server on loopback that never answers.
"""

from __future__ import annotations

import ast
import base64
import contextlib
import fcntl
import hashlib
import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import zipfile
from collections.abc import Iterator
from importlib import metadata, util
from pathlib import Path

import pytest

from shopdesk import bootstrap, natives

HOME = Path(bootstrap.__file__).parent.parent
DJANGO = """
import sys
def execute_from_command_line(argv):
    import django
    print("django", django.VERSION, sys.prefix, *argv[1:])
"""


def make_wheel(folder: Path, name: str, version: str, files: dict[str, str]) -> str:
    """A wheel by the binary distribution format (PEP 427); returns its line for a lock."""
    info = f"{name}-{version}.dist-info"
    files = {
        **files,
        f"{info}/METADATA": f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n",
        f"{info}/WHEEL": "Wheel-Version: 1.0\nGenerator: tests\nRoot-Is-Purelib: true\nTag: py3-none-any\n",
    }
    record = ""
    for path, text in files.items():
        digest = base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest()).rstrip(b"=").decode()
        record += f"{path},sha256={digest},{len(text.encode())}\n"
    wheel = folder / f"{name}-{version}-py3-none-any.whl"
    with zipfile.ZipFile(wheel, "w") as archive:
        for path, text in files.items():
            archive.writestr(path, text)
        archive.writestr(f"{info}/RECORD", f"{record}{info}/RECORD,,\n")
    return f"{name}=={version} --hash=sha256:{hashlib.sha256(wheel.read_bytes()).hexdigest()}\n"


class Project:
    """A clone with the true `manage.py` and set-up, and packages small enough to install in a moment."""

    def __init__(self, root: Path, wheels: Path) -> None:
        self.root = root
        self.wheels = wheels
        (root / "shopdesk").mkdir(parents=True)
        (root / "shared" / "locks").mkdir(parents=True)
        wheels.mkdir(exist_ok=True)
        for name in ("manage.py", "shopdesk/__init__.py", "shopdesk/bootstrap.py", "shopdesk/natives.py"):
            shutil.copy(HOME / name, root / name)
        self.extra = make_wheel(wheels, "pytest", "9.0", {"pytest.py": ""})
        self.pin("5.2.1")

    @property
    def venv(self) -> Path:
        return self.root / ".venv"

    def pin(self, version: str) -> None:
        files = {f"{name}/__init__.py": "" for name in bootstrap.PACKAGES}
        files["django/__init__.py"] = f"VERSION = '{version}'"
        files["django/core/__init__.py"] = ""
        files["django/core/management.py"] = DJANGO
        files["django/core/exceptions.py"] = "class ImproperlyConfigured(Exception): pass"
        files["django/conf.py"] = "class settings: INSTALLED_APPS = ()"
        self.write_locks(make_wheel(self.wheels, "django", version, files))

    def write_locks(self, line: str) -> None:
        (self.root / "shared" / "locks" / "run.txt").write_text(line)
        (self.root / "shared" / "locks" / "test.txt").write_text(line + self.extra)

    def start(self, *arguments: str, **environment: str) -> subprocess.Popen[str]:
        env = {
            "PATH": os.defpath,
            "HOME": str(self.root),
            "PIP_CONFIG_FILE": os.devnull,
            "PIP_NO_INDEX": "1",
            "PIP_FIND_LINKS": str(self.wheels),
            "PIP_NO_CACHE_DIR": "1",
            "SHOPDESK_NO_APT": "1",
            "SHOPDESK_CHROMIUM": sys.executable,  # anything that runs: it is only looked for
            **environment,
        }
        # The Python below the environment that runs these tests, as on a machine where nothing is set up.
        return subprocess.Popen(
            [getattr(sys, "_base_executable", sys.executable), "-s", "manage.py", *arguments],
            cwd=self.root,
            env=env,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )

    def run(self, *arguments: str, **environment: str) -> tuple[int, str, str]:
        """Exit code, what the command printed, what the set-up said."""
        process = self.start(*arguments, **environment)
        out, err = process.communicate(timeout=120)
        return process.returncode, out, err

    def leavings(self) -> list[str]:
        """What set-up left in the project, but for the lock file that stays."""
        return sorted(path.name for path in self.root.glob(".venv*") if path.name != ".venv.lock")


@pytest.fixture
def project(tmp_path: Path) -> Project:
    # As the shop's folder may be called: with a space, and a letter beyond ASCII.
    return Project(tmp_path / "my shöp", tmp_path / "wheels")


class SilentServer:
    """Takes connections and never says a word, so that pip waits for as long as a test needs."""

    def __init__(self, listener: socket.socket) -> None:
        self.listener = listener
        self.calls: list[socket.socket] = []
        self.pip = {
            "PIP_NO_INDEX": "",
            "PIP_FIND_LINKS": "",
            "PIP_INDEX_URL": f"http://127.0.0.1:{listener.getsockname()[1]}/",
        }

    def wait_for_a_call(self) -> None:
        self.listener.settimeout(60)
        self.calls.append(self.listener.accept()[0])


@pytest.fixture
def silent_server() -> Iterator[SilentServer]:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        server = SilentServer(listener)
        yield server
        for call in server.calls:
            call.close()


def wait_for(process: subprocess.Popen[str], words: str) -> None:
    assert process.stderr is not None
    for line in process.stderr:
        if words in line:
            return
    raise AssertionError(f"the set-up ended without saying {words!r}")


# --- The whole way, really ---------------------------------------------------------------------------------


def test_from_a_clone_through_upgrades_and_failures(project: Project) -> None:
    code, out, err = project.run("check", "--one", "two words")
    assert code == 0, err
    assert out == f"django 5.2.1 {project.venv} check --one two words\n"
    assert [line.split()[0] for line in err.splitlines()] == ["Making", "Fetching", "Installing"]
    assert project.leavings() == [".venv"]

    # Nothing changed: pip, which could not work now, is not asked.
    code, out, err = project.run("check", PIP_FIND_LINKS="/nowhere")
    assert (code, out, err) == (0, f"django 5.2.1 {project.venv} check\n", "")

    # `test` wants more, put on top of what is there; `run` is content with more.
    code, out, err = project.run("test")
    assert (code, out) == (0, f"django 5.2.1 {project.venv} test\n"), err
    assert "Making" not in err
    assert "Fetching the 2 packages of test.txt" in err
    assert project.run("test", PIP_FIND_LINKS="/nowhere")[2] == ""
    assert project.run("check", PIP_FIND_LINKS="/nowhere")[2] == ""

    # A changed lock is installed, tests included since they are there, even when run from inside.
    project.pin("5.2.2")
    inside = subprocess.run(
        [project.venv / "bin" / "python", "manage.py", "check"],
        cwd=project.root,
        env={"PATH": os.defpath, "PIP_NO_INDEX": "1", "PIP_FIND_LINKS": str(project.wheels)},
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    assert inside.stdout == f"django 5.2.2 {project.venv} check\n"
    assert "Fetching the 2 packages of test.txt" in inside.stderr
    assert project.run("test")[2] == ""

    # An upgrade that cannot be fetched stops, and leaves the environment as it was.
    lock = project.root / "shared" / "locks" / "run.txt"
    good = lock.read_text()
    project.write_locks("django==5.2.3 --hash=sha256:" + 64 * "0" + "\n")
    code, out, err = project.run("check")
    assert (code, out) == (2, "")
    assert "5.2.3" in err
    assert "could not be fetched" in err
    project.write_locks(good)
    assert project.run("check", PIP_FIND_LINKS="/nowhere") == (0, f"django 5.2.2 {project.venv} check\n", "")

    # A package that somebody took out by hand comes back.
    shutil.rmtree(next(project.venv.glob("lib/*/site-packages/django")))
    shutil.rmtree(next(project.venv.glob("lib/*/site-packages/django-*.dist-info")))
    code, out, err = project.run("check")
    assert (code, out) == (0, f"django 5.2.2 {project.venv} check\n"), err

    # So does the whole environment when the Python that it stands on is gone from the machine.
    python = project.venv / "bin" / "python"
    python.unlink()
    python.symlink_to("/nowhere/python3")
    code, out, err = project.run("check")
    assert (code, out) == (0, f"django 5.2.2 {project.venv} check\n"), err
    assert "Making" in err

    # A folder that was moved is made anew, for its scripts name the old place.
    moved = project.root.with_name("moved")
    project.root.rename(moved)
    project.root = moved
    code, out, err = project.run("check")
    assert (code, out) == (0, f"django 5.2.2 {project.venv} check\n")
    assert "Making" in err
    assert project.leavings() == [".venv"]


def test_a_package_that_is_not_the_pinned_one_leaves_nothing(project: Project) -> None:
    lock = project.root / "shared" / "locks" / "run.txt"
    lock.write_text(lock.read_text().replace("sha256:", "sha256:0000")[:-5] + "\n")
    code, out, err = project.run("check")
    assert (code, out) == (2, "")
    assert "THESE PACKAGES DO NOT MATCH THE HASHES" in err  # pip's own words, among its last lines
    assert err.splitlines()[-1].startswith("The packages could not be fetched.")
    assert project.leavings() == []


def test_a_package_that_cannot_be_unpacked_leaves_nothing(project: Project) -> None:
    wheel = project.wheels / "django-5.2.9-py3-none-any.whl"
    wheel.write_bytes(b"PK\x03\x04 and then nothing")
    project.write_locks(f"django==5.2.9 --hash=sha256:{hashlib.sha256(wheel.read_bytes()).hexdigest()}\n")
    code, _, err = project.run("check")
    assert code == 2
    assert "could not be" in err.splitlines()[-1]
    assert project.leavings() == []


@pytest.mark.parametrize(
    ("signum", "step"),
    [(signal.SIGINT, "Making"), (signal.SIGTERM, "Fetching"), (signal.SIGHUP, "Fetching")],
)
def test_stopped_half_way_it_leaves_nothing_behind(
    project: Project, silent_server: SilentServer, signum: int, step: str
) -> None:
    process = project.start("check", **silent_server.pip)
    wait_for(process, step)
    if step == "Fetching":
        silent_server.wait_for_a_call()
        assert project.venv.is_dir()
    process.send_signal(signum)
    out, err = process.communicate(timeout=240)
    assert process.returncode == 128 + signum
    assert out == ""
    assert err == "Stopped.\n"
    assert project.leavings() == []
    with (project.root / ".venv.lock").open() as lock:  # nobody it started is still at work
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)


def test_killed_outright_the_next_run_starts_afresh(project: Project, silent_server: SilentServer) -> None:
    process = project.start("check", **silent_server.pip)
    silent_server.wait_for_a_call()
    process.kill()
    process.communicate(timeout=10)
    assert bootstrap.read_note(project.venv) == {}
    (project.venv / "half-made").touch()

    # Its pip is still at work and holds the lock: the next run waits for that to end.
    following = project.start("check")
    wait_for(following, "Another set-up is at work")
    pip = int(
        subprocess.check_output(["pgrep", "-f", f"{project.venv}/bin/python -m pip"], text=True).split()[0]
    )
    os.killpg(pip, signal.SIGKILL)

    out, err = following.communicate(timeout=240)
    assert (following.returncode, out) == (0, f"django 5.2.1 {project.venv} check\n"), err
    assert "Making" in err
    assert not (project.venv / "half-made").exists()
    assert project.leavings() == [".venv"]


def test_two_at_once_make_one(project: Project) -> None:
    both = [project.start("check"), project.start("check")]
    ended = [process.communicate(timeout=120) for process in both]
    assert [process.returncode for process in both] == [0, 0], ended
    assert [out for out, _ in ended] == [f"django 5.2.1 {project.venv} check\n"] * 2
    assert sum("Making" in err for _, err in ended) == 1


def test_an_environment_made_by_hand_is_built_upon_and_never_thrown_away(project: Project) -> None:
    subprocess.run([sys.executable, "-m", "venv", project.venv], check=True, timeout=240)
    (project.venv / "mine").touch()
    good = (project.root / "shared" / "locks" / "run.txt").read_text()
    project.write_locks("django==5.2.3 --hash=sha256:" + 64 * "0" + "\n")
    assert project.run("check")[0] == 2
    assert (project.venv / "mine").exists()

    project.write_locks(good)
    code, out, err = project.run("check")
    assert (code, out) == (0, f"django 5.2.1 {project.venv} check\n"), err
    assert (project.venv / "mine").exists()


# --- Part by part ------------------------------------------------------------------------------------------


def test_an_active_environment_with_the_packages_is_left_alone(tmp_path: Path) -> None:
    bootstrap.prepare(tmp_path, ["manage.py", "check"])  # this very one
    bootstrap.prepare(tmp_path, ["manage.py", "test"])
    assert list(tmp_path.iterdir()) == []


def test_without_pytest_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    found = util.find_spec
    monkeypatch.setattr(util, "find_spec", lambda name: None if name == "pytest" else found(name))
    bootstrap.prepare(tmp_path, ["manage.py", "check"])
    with pytest.raises(SystemExit) as ended:
        bootstrap.prepare(tmp_path, ["manage.py", "test"])
    assert ended.value.code == 2
    assert f"pip install --require-hashes -r {tmp_path}/shared/locks/test.txt" in capsys.readouterr().err


@pytest.mark.parametrize("version", ["4.2.1", "6.0", None])
def test_another_series_of_django_does_not_count(
    monkeypatch: pytest.MonkeyPatch, version: str | None
) -> None:
    def told(_: str) -> str:
        if version is None:
            raise metadata.PackageNotFoundError
        return version

    assert bootstrap.has_packages()
    monkeypatch.setattr(metadata, "version", told)
    assert not bootstrap.has_packages()


def test_the_note_is_current_only_for_this_place_python_and_pins(project: Project) -> None:
    project.venv.mkdir()
    bootstrap.write_note(project.venv, bootstrap.wanted_note(project.root, testing=False))
    assert bootstrap.is_current(project.root, testing=False)
    assert not bootstrap.is_current(project.root, testing=True)
    bootstrap.write_note(project.venv, bootstrap.wanted_note(project.root, testing=True))
    assert bootstrap.is_current(project.root, testing=False)
    assert bootstrap.is_current(project.root, testing=True)
    for key in ("place", "python", "run.txt", "test.txt"):
        note = bootstrap.wanted_note(project.root, testing=True)
        bootstrap.write_note(project.venv, {**note, key: "another"})
        assert not bootstrap.is_current(project.root, testing=True)
    for broken in ("", "[]", "{", "\x00"):
        bootstrap.note_path(project.venv).write_text(broken)
        assert bootstrap.read_note(project.venv) == {}
        assert not bootstrap.is_current(project.root, testing=False)
    assert [path.name for path in project.venv.iterdir()] == ["shopdesk.json"]


@pytest.mark.parametrize(("fails", "stays"), [("wheel", True), ("install", False)])
def test_an_upgrade_that_fails_while_installing_is_thrown_away(
    project: Project, monkeypatch: pytest.MonkeyPatch, fails: str, stays: bool
) -> None:
    def run(_: bootstrap.Runner, failure: str, command: list[str]) -> None:
        if fails in command:
            raise bootstrap.Stop(failure)

    old = {**bootstrap.wanted_note(project.root, testing=False), "run.txt": "older"}
    project.venv.mkdir()
    bootstrap.write_note(project.venv, old)
    monkeypatch.setattr(bootstrap, "python_version", lambda _: old["python"])
    monkeypatch.setattr(bootstrap.Runner, "__call__", run)
    with pytest.raises(bootstrap.Stop, match="could not be"):
        bootstrap.make_ready(project.root, testing=False)
    assert bootstrap.read_note(project.venv) == (old if stays else None)
    assert project.leavings() == ([".venv"] if stays else [])


def test_a_folder_that_cannot_be_written_is_said(project: Project) -> None:
    (project.root / ".venv.lock").mkdir()
    code, out, err = project.run("check")
    assert (code, out) == (2, "")
    assert err.startswith("Setting up failed: ")
    assert err.count("\n") == 1


def test_a_lock_that_is_not_there_is_said(project: Project) -> None:
    (project.root / "shared" / "locks" / "run.txt").unlink()
    code, _, err = project.run("check")
    assert code == 2
    assert err.splitlines()[-1].startswith("The list of packages ")
    assert project.leavings() == []


def test_an_environment_by_hand_with_another_python_is_not_touched(
    project: Project, monkeypatch: pytest.MonkeyPatch
) -> None:
    project.venv.mkdir()
    monkeypatch.setattr(bootstrap, "python_version", lambda _: "3.9")
    with pytest.raises(bootstrap.Stop, match=r"Python 3\.9, made by hand"):
        bootstrap.make_ready(project.root, testing=False)
    assert project.venv.is_dir()


def test_an_old_python_gets_a_sentence() -> None:
    pretend = "import runpy, sys; sys.version_info = (3, 10, 4); runpy.run_path('manage.py')"
    ended = subprocess.run(
        [sys.executable, "-c", pretend], cwd=HOME, capture_output=True, text=True, check=False
    )
    assert ended.returncode == 2
    assert ended.stderr.count("\n") == 1
    assert "needs Python 3.11, 3.12 or 3.13, and this is Python 3.10." in ended.stderr


def test_set_up_needs_only_the_standard_library() -> None:
    own = {"shopdesk", "django"}
    for name in ("manage.py", "shopdesk/bootstrap.py", "shopdesk/natives.py"):
        tree = ast.parse((HOME / name).read_text("utf-8"))
        modules = {
            alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names
        }
        modules |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        tops = {module.partition(".")[0] for module in modules}
        assert tops - own <= sys.stdlib_module_names
        assert ("django" in tops) == (name == "manage.py")
    assert (HOME / "shopdesk" / "__init__.py").read_text() == ""


# --- What pip cannot bring ---------------------------------------------------------------------------------


class Machine:
    """A machine without the native things; `apt` brings them, or fails."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.commands: list[list[str]] = []
        self.apt_brings = True
        self.lacking = True
        self.root = True
        monkeypatch.delenv("SHOPDESK_NO_APT", raising=False)
        monkeypatch.setattr(natives, "loads", lambda _: not self.lacking)
        monkeypatch.setattr(natives, "chromium", lambda: None if self.lacking else "/usr/bin/chromium")
        monkeypatch.setattr(os, "geteuid", lambda: 0 if self.root else 1000)
        monkeypatch.setattr(shutil, "which", lambda name: f"/usr/bin/{name}")
        monkeypatch.setattr(bootstrap.Runner, "__call__", self._run)

    def _run(self, failure: str, command: list[str], **environment: str) -> None:
        assert environment == {"DEBIAN_FRONTEND": "noninteractive"}
        self.commands.append(command)
        if "install" in command:
            if not self.apt_brings:
                raise bootstrap.Stop(f"  E: no such thing\n{failure}")
            self.lacking = False


@pytest.fixture
def machine(monkeypatch: pytest.MonkeyPatch) -> Machine:
    return Machine(monkeypatch)


def test_as_root_with_apt_they_are_installed(machine: Machine) -> None:
    bootstrap.provide(natives.missing(testing=True))
    update, install = machine.commands
    assert update[-1] == "update"
    assert {"libpango-1.0-0", "libpangoft2-1.0-0", "libharfbuzz-subset0", "chromium"} <= set(install)
    bootstrap.provide(natives.missing(testing=True))
    assert len(machine.commands) == 2  # nothing is missing any more


def test_apt_that_fails_shows_its_words_and_the_commands(machine: Machine) -> None:
    machine.apt_brings = False
    with pytest.raises(bootstrap.Stop) as stopped:
        bootstrap.provide(natives.missing(testing=False))
    assert stopped.value.code == 2
    assert "E: no such thing\napt-get install failed.\nThis machine lacks " in str(stopped.value)


@pytest.mark.parametrize("why", ["not root", "forbidden"])
def test_otherwise_the_exact_commands_are_printed(
    machine: Machine, monkeypatch: pytest.MonkeyPatch, why: str
) -> None:
    if why == "not root":
        machine.root = False
    else:
        monkeypatch.setenv("SHOPDESK_NO_APT", "1")
    with pytest.raises(bootstrap.Stop) as stopped:
        bootstrap.provide(natives.missing(testing=True))
    assert stopped.value.code == 2
    assert machine.commands == []
    lines = str(stopped.value).splitlines()
    assert "HarfBuzz's subsetter" in lines[0]
    told = {line.split()[0]: line.split(maxsplit=1)[1] for line in lines[1:-1]}
    assert list(told) == ["Debian", "Ubuntu", "Fedora", "macOS"]
    sudo = "sudo " if why == "not root" else ""
    apt = f"{sudo}apt-get update && {sudo}apt-get install --yes --no-install-recommends "
    libraries = "libfontconfig1 libharfbuzz-subset0 libharfbuzz0b libpango-1.0-0 libpangoft2-1.0-0"
    assert told["Debian"] == f"{apt}chromium {libraries}"
    assert told["Ubuntu"] == f"{apt}{libraries} && {sudo}snap install chromium"
    assert told["Fedora"] == f"{sudo}dnf install --assumeyes chromium fontconfig glib2 harfbuzz pango"
    assert told["macOS"] == "brew install fontconfig glib harfbuzz pango && brew install --cask google-chrome"


def test_a_system_python_without_venv_is_told_of_in_the_same_breath(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    # Debian's python3 comes without; any command needs it, and only while there is no environment.
    found = util.find_spec
    monkeypatch.setenv("SHOPDESK_NO_APT", "1")
    monkeypatch.setattr(natives, "loads", lambda library: library.what != "Pango")
    monkeypatch.setattr(
        util, "find_spec", lambda name: None if name in ("ensurepip", "django") else found(name)
    )
    for command, lacks in (("serve", "Pango, Python's venv"), ("migrate", "Python's venv")):
        with pytest.raises(SystemExit) as ended:
            bootstrap.prepare(tmp_path, ["manage.py", command])
        assert ended.value.code == 2
        said = capsys.readouterr().err
        assert f"This machine lacks {lacks}." in said
        assert "python{}.{}-venv".format(*sys.version_info) in said
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", ["demo", "serve", "test", "measure", "makemigrations", "backup"])
def test_only_commands_that_draw_look_for_them(
    project: Project,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: str,
) -> None:
    class HandedOver(Exception):
        pass

    def hand_over(_: Path) -> None:
        raise HandedOver

    monkeypatch.setenv("SHOPDESK_NO_APT", "1")
    monkeypatch.setattr(natives, "loads", lambda _: False)
    monkeypatch.setattr(bootstrap, "has_packages", lambda: False)
    monkeypatch.setattr(bootstrap, "hand_over", hand_over)
    monkeypatch.setattr(bootstrap, "is_current", lambda *_: True)
    if command in ("makemigrations", "backup"):
        with pytest.raises(HandedOver):
            bootstrap.prepare(project.root, ["manage.py", command])
        return
    with pytest.raises(SystemExit) as ended:
        bootstrap.prepare(project.root, ["manage.py", command])
    assert ended.value.code == 2
    assert "This machine lacks GLib, Pango" in capsys.readouterr().err
    assert project.leavings() == []


def test_libraries_are_looked_for_as_weasyprint_loads_them() -> None:
    import weasyprint.text.ffi as ffi

    source = Path(ffi.__file__).read_text("utf-8")
    for library in natives.LIBRARIES:
        assert all(f"'{name}'" in source for name in library.names[:1])
        assert natives.loads(library)  # or this test could not have imported WeasyPrint
    assert not natives.loads(natives.Native("nothing", ("libno-such-thing.so.0",), "", "", "", ""))


def test_the_browser_may_be_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(natives, "CHROMIUM_APPS", ())
    monkeypatch.delenv("SHOPDESK_CHROMIUM", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert natives.chromium() is None
    browser = tmp_path / "google-chrome"
    browser.touch(mode=0o755)
    assert natives.chromium() == str(browser)
    monkeypatch.setenv("SHOPDESK_CHROMIUM", str(tmp_path / "gone"))
    assert natives.chromium() is None


def test_a_step_that_does_not_listen_is_ended_with_all_it_started(tmp_path: Path) -> None:
    mark = tmp_path / "pid"
    deaf = f"trap '' TERM; (trap '' TERM; sleep 60) & echo $! > {mark}; wait"
    child = subprocess.Popen(["bash", "-c", deaf], stdout=subprocess.PIPE, text=True, start_new_session=True)
    while not (mark.exists() and mark.read_text().strip()):
        time.sleep(0.02)
    bootstrap.end_group(child, patience=0.3)
    assert child.returncode == -signal.SIGKILL
    grandchild = int(mark.read_text())
    deadline = time.monotonic() + 5
    while time.monotonic() < deadline:
        with contextlib.suppress(ProcessLookupError, FileNotFoundError):
            if Path(f"/proc/{grandchild}/stat").read_text().split()[2] != "Z":
                os.kill(grandchild, 0)
                time.sleep(0.02)
                continue
        break
    else:
        raise AssertionError("the grandchild is still there")


def test_notes_are_json_that_a_person_can_read(project: Project) -> None:
    project.venv.mkdir()
    bootstrap.write_note(project.venv, {"place": "here"})
    assert json.loads((project.venv / "shopdesk.json").read_text()) == {"place": "here"}
