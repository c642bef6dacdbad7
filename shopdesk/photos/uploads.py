"""What is kept of a file while it arrives."""

from __future__ import annotations

from django.core.files.uploadedfile import UploadedFile
from django.core.files.uploadhandler import FileUploadHandler

from shopdesk.photos.look import MOST_BYTES


class OnlySoMuch(FileUploadHandler):
    """The first upload handler. Of a file that is too large, it hands on as much as shows that it is, and
    lets the rest go: the form still gets the file, says in its own words that it is too large, and keeps
    everything else."""

    _so_far = 0

    def new_file(self, *args: object, **kwargs: object) -> None:
        super().new_file(*args, **kwargs)  # type: ignore[arg-type]  # handed on as it came
        self._so_far = 0

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes | None:
        if self._so_far > MOST_BYTES:
            return None
        self._so_far += len(raw_data)
        return raw_data

    def file_complete(self, file_size: int) -> UploadedFile[bytes] | None:
        return None
