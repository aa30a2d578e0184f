"""A way between a client and the broker that can be cut, refused, swallowed, held up and slowed.

One thread, one asyncio loop. `up` is what the client sends, `down` what the broker sends. What is
swallowed is lost for good, so that at `mend` the connections that lost something are reset: TCP
never lets a stream go on with a hole in it. What is held comes out whole, late and in order.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Coroutine
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass, field
from types import TracebackType
from typing import Any, Literal, Self

HOST = "127.0.0.1"
CALL_S = 10.0
CHUNK_BYTES = 65_536

Direction = Literal["up", "down"]


@dataclass(slots=True)
class _Way:
    """One direction of all connections."""

    swallows: bool = False
    open: asyncio.Event = field(default_factory=asyncio.Event)  # not held up
    delay_s: float = 0.0


@dataclass(slots=True, eq=False)
class _Pair:
    """One connection through the proxy."""

    client: asyncio.StreamWriter
    broker: asyncio.StreamWriter
    lost: bool = False  # bytes of it were swallowed

    def reset(self) -> None:
        for writer in (self.client, self.broker):
            writer.transport.abort()


class Proxy:
    """A port of its own in front of the broker's.

    Args:
        port: of the broker, on loopback.
    """

    def __init__(self, port: int) -> None:
        self._target = port
        self.port = 0
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, name="proxy", daemon=True)
        self._server: asyncio.Server | None = None
        self._pairs: set[_Pair] = set()
        self._ways: dict[Direction, _Way] = {}
        self.accepted = 0  # connections so far

    @property
    def url(self) -> str:
        return f"mqtt://{HOST}:{self.port}"

    def __enter__(self) -> Self:
        self._thread.start()
        self._do(self._begin())
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._do(self._refuse())
        self._do(self._cut())
        self._do(self._end_tasks())
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(CALL_S)
        self._loop.close()

    # -- what can be done to it, from any thread

    def cut(self) -> None:
        """Reset every connection; the next attempt succeeds."""
        self._do(self._cut())

    def refuse(self) -> None:
        """Reset every connection and listen no more."""
        self._do(self._refuse())
        self._do(self._cut())

    def swallow(self, *directions: Direction) -> None:
        """Let bytes of these directions vanish."""
        self._do(self._set(directions, "swallow"))

    def hold(self, *directions: Direction) -> None:
        """Keep bytes of these directions back until `mend`."""
        self._do(self._set(directions, "hold"))

    def delay(self, seconds: float, *directions: Direction) -> None:
        """Let bytes of these directions come so much later [s real]."""
        self._do(self._set(directions, "delay", seconds))

    def mend(self) -> None:
        """Let everything through again."""
        self._do(self._mend())

    def _do(self, what: Coroutine[Any, Any, None]) -> None:
        done: Future[None] = asyncio.run_coroutine_threadsafe(what, self._loop)
        done.result(CALL_S)

    # -- in the loop

    async def _begin(self) -> None:
        self._ways = {"up": _Way(), "down": _Way()}
        for way in self._ways.values():
            way.open.set()
        await self._listen()

    async def _listen(self) -> None:
        if self._server is None:
            self._server = await asyncio.start_server(
                self._serve, HOST, self.port, reuse_address=True
            )
            self.port = self._server.sockets[0].getsockname()[1]

    async def _refuse(self) -> None:
        server, self._server = self._server, None
        if server is not None:
            server.close()

    async def _cut(self) -> None:
        for pair in list(self._pairs):
            pair.reset()

    async def _set(self, directions: tuple[Direction, ...], how: str, seconds: float = 0.0) -> None:
        for direction in directions:
            way = self._ways[direction]
            if how == "swallow":
                way.swallows = True
            elif how == "hold":
                way.open.clear()
            else:
                way.delay_s = seconds

    async def _mend(self) -> None:
        for way in self._ways.values():
            way.swallows, way.delay_s = False, 0.0
            way.open.set()
        for pair in list(self._pairs):
            if pair.lost:
                pair.reset()
        await self._listen()

    async def _end_tasks(self) -> None:
        tasks = asyncio.all_tasks() - {asyncio.current_task()}
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.accepted += 1
        try:
            far_reader, far_writer = await asyncio.open_connection(HOST, self._target)
        except OSError:
            writer.transport.abort()
            return
        pair = _Pair(writer, far_writer)
        self._pairs.add(pair)
        try:
            await asyncio.gather(
                self._pump(pair, reader, far_writer, "up"),
                self._pump(pair, far_reader, writer, "down"),
            )
        except (OSError, asyncio.CancelledError):
            pass
        finally:
            self._pairs.discard(pair)
            pair.reset()

    async def _pump(
        self,
        pair: _Pair,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        direction: Direction,
    ) -> None:
        """Pass bytes on, each chunk when its time has come; the end goes the same way."""
        chunks: asyncio.Queue[tuple[float, bytes]] = asyncio.Queue(64)
        reading = asyncio.create_task(self._read(reader, chunks, direction))
        try:
            while True:
                due_s, data = await chunks.get()
                await asyncio.sleep(max(0.0, due_s - time.monotonic()))
                way = self._ways[direction]
                await way.open.wait()
                if way.swallows:
                    pair.lost = True
                    continue
                if not data:
                    writer.close()
                    return
                writer.write(data)
                await writer.drain()
        finally:
            reading.cancel()

    async def _read(
        self,
        reader: asyncio.StreamReader,
        chunks: asyncio.Queue[tuple[float, bytes]],
        direction: Direction,
    ) -> None:
        while True:
            data = b""
            with suppress(OSError):
                data = await reader.read(CHUNK_BYTES)
            await chunks.put((time.monotonic() + self._ways[direction].delay_s, data))
            if not data:
                return
