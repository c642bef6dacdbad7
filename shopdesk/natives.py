"""What pip cannot bring: the libraries that WeasyPrint loads and the browser that the tests drive.

Standard library only: `shopdesk/bootstrap.py` looks here before any package is installed.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import shutil
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from importlib import util

BREW_FOLDERS = ("/opt/homebrew/lib", "/usr/local/lib")
CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
CHROMIUM_APPS = ("/Applications/Chromium.app/Contents/MacOS/Chromium",
                 "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome")  # fmt: skip


@dataclass(frozen=True)
class Native:
    """What to call it, the names it loads under, and who packages it as what (empty: its own way)."""

    what: str
    names: tuple[str, ...]
    debian: str
    ubuntu: str
    fedora: str
    mac: str


def _library(what: str, stem: str, version: str, debian: str, fedora: str, mac: str) -> Native:
    names = (f"lib{stem}.so.{version}", f"lib{stem}.{version}.dylib", f"lib{stem}.dylib")
    return Native(what, names, debian, debian, fedora, mac)


# What WeasyPrint loads (its text/ffi.py), under the names that Linux and macOS give them.
LIBRARIES = (
    _library("GLib", "gobject-2.0", "0", "libpango-1.0-0", "glib2", "glib"),
    _library("Pango", "pango-1.0", "0", "libpango-1.0-0", "pango", "pango"),
    _library("Pango's FreeType part", "pangoft2-1.0", "0", "libpangoft2-1.0-0", "pango", "pango"),
    _library("HarfBuzz", "harfbuzz", "0", "libharfbuzz0b", "harfbuzz", "harfbuzz"),
    _library("HarfBuzz's subsetter", "harfbuzz-subset", "0", "libharfbuzz-subset0", "harfbuzz", "harfbuzz"),
    _library("Fontconfig", "fontconfig", "1", "libfontconfig1", "fontconfig", "fontconfig"),
)
CHROMIUM = Native("Chromium", (), "chromium", "", "chromium", "")
_VENV_PACKAGE = "python{}.{}-venv".format(*sys.version_info)
VENV = Native("Python's venv", (), _VENV_PACKAGE, _VENV_PACKAGE, "python3-libs", "python")


def chromium() -> str | None:
    """The browser to test with: `SHOPDESK_CHROMIUM`, else the first known name on the PATH."""
    named = os.environ.get("SHOPDESK_CHROMIUM")
    if named:
        return shutil.which(named)
    found = (shutil.which(name) for name in (*CHROMIUM_NAMES, *CHROMIUM_APPS))
    return next((path for path in found if path), None)


def loads(native: Native) -> bool:
    """Whether the library loads, as WeasyPrint will load it. Cheap enough to look each time."""
    folders = ("", *(f"{folder}/" for folder in BREW_FOLDERS)) if sys.platform == "darwin" else ("",)
    for name in (folder + name for folder in folders for name in native.names):
        with contextlib.suppress(OSError):
            ctypes.CDLL(name)
            return True
    return False


def missing(testing: bool) -> list[Native]:
    missing = [library for library in LIBRARIES if not loads(library)]
    if testing and chromium() is None:
        missing.append(CHROMIUM)
    return missing


def is_there(native: Native) -> bool:
    if native is CHROMIUM:
        return chromium() is not None
    return util.find_spec("ensurepip") is not None if native is VENV else loads(native)


def how_to_provide(missing: Sequence[Native]) -> str:
    """What is missing and the exact command for each system that we know."""
    sudo = "" if os.geteuid() == 0 else "sudo "
    apt = f"{sudo}apt-get update && {sudo}apt-get install --yes --no-install-recommends "

    def packages(names: Iterable[str]) -> str:
        return " ".join(sorted({name for name in names if name}))

    on_ubuntu = packages(native.ubuntu for native in missing)
    ubuntu = [apt + on_ubuntu] if on_ubuntu else []
    if CHROMIUM in missing:
        ubuntu.append(f"{sudo}snap install chromium")
    brewed = packages(native.mac for native in missing)
    mac = [f"brew install {brewed}"] if brewed else []
    if CHROMIUM in missing:  # Homebrew keeps programs with a window apart.
        mac.append("brew install --cask google-chrome")
    return "\n".join(
        [
            f"This machine lacks {', '.join(native.what for native in missing)}. To install:",
            f"  Debian   {apt}{packages(native.debian for native in missing)}",
            f"  Ubuntu   {' && '.join(ubuntu)}",
            f"  Fedora   {sudo}dnf install --assumeyes {packages(native.fedora for native in missing)}",
            f"  macOS    {' && '.join(mac)}",
            "Then run the same command again.",
        ]
    )
