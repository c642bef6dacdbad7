"""A mail server that takes everything and keeps nothing, in a process of its own:

python -m shopdesk.running.measures.sink      # prints its port, and ends with its standard input
"""

from __future__ import annotations

import asyncio
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager


async def _serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """The part of RFC 5321 that a client needs to hand over one email after the other."""
    writer.write(b"220 sink\r\n")
    while line := await reader.readline():
        verb = line[:4].upper()
        if verb == b"DATA":
            writer.write(b"354 go on\r\n")
            await reader.readuntil(b"\r\n.\r\n")
        writer.write(b"221 bye\r\n" if verb == b"QUIT" else b"250 OK\r\n")
        if verb == b"QUIT":
            break
    writer.close()


async def _until_left_alone() -> None:
    server = await asyncio.start_server(_serve, "127.0.0.1", 0, limit=64 * 1024**2)
    print(server.sockets[0].getsockname()[1], flush=True)
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)


@contextmanager
def sink() -> Iterator[int]:
    """The port of one that is there for the time of the block."""
    command = [sys.executable, "-m", "shopdesk.running.measures.sink"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        try:
            yield int(process.stdout.readline())
        finally:
            process.stdin.close()
            process.wait(10)


if __name__ == "__main__":
    asyncio.run(_until_left_alone())
