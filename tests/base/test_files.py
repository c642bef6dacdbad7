"""A file is there whole or not at all."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from shopdesk.base import files


def test_makes_the_folders_and_writes_all_of_it(tmp_path: Path) -> None:
    path = tmp_path / "a" / "b" / "picture.webp"
    files.put(path, b"first")
    files.put(path, b"second, longer")
    assert path.read_bytes() == b"second, longer"
    assert list(path.parent.iterdir()) == [path]


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT])
def test_a_full_disk_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    path = tmp_path / "document.pdf"
    files.put(path, b"whole")

    def full(handle: int) -> None:
        raise OSError(number, "full")

    monkeypatch.setattr("shopdesk.base.files.os.fsync", full)
    with pytest.raises(OSError, match="full") as error:
        files.put(path, b"half")
    assert files.no_room(error.value)
    assert path.read_bytes() == b"whole"
    assert list(tmp_path.iterdir()) == [path]


def test_other_trouble_is_not_a_full_disk(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a file, not a folder")
    with pytest.raises(OSError) as error:  # noqa: PT011  whichever it is on this system
        files.put(tmp_path / "a" / "b", b"x")
    assert not files.no_room(error.value)
