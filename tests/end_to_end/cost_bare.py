"""The bare stack, what the daemon's memory is held against: the same libraries and no garden.

    python -m tests.end_to_end.cost_bare URL FOLDER

paho, pydantic, sqlite-utils, FastAPI and uvicorn: it hears everything below `thirstline/`,
validates each reading with a model of its own, keeps all messages in batches of a minute, and
serves one page and one order; where, it says in the file `port`. SIGTERM ends it.
"""

from __future__ import annotations

import signal
import sys
import threading
import time
from pathlib import Path

import paho.mqtt.client as mqtt
import uvicorn
from fastapi import FastAPI
from paho.mqtt.enums import CallbackAPIVersion
from pydantic import BaseModel, ConfigDict
from sqlite_utils import Database

FLUSH_S = 60.0  # [s] as the daemon's recorder
LOOP_S = 0.1

ended = threading.Event()
newest: dict[str, float] = {}
rows: list[dict[str, object]] = []


class Told(BaseModel):
    """What a probe tells."""

    model_config = ConfigDict(strict=True, extra="ignore")
    theta: float
    seq: int
    boot: str


class Wish(BaseModel):
    """An order."""

    litres: float


app = FastAPI()


@app.get("/")
def page() -> dict[str, float]:
    return newest


@app.post("/water")
def water(wish: Wish) -> dict[str, float]:
    return {"litres": wish.litres}


def _heard(_c: mqtt.Client, _u: object, message: mqtt.MQTTMessage) -> None:
    text = message.payload.decode()
    if "/probe/" in message.topic:
        newest[message.topic] = Told.model_validate_json(text).theta
    rows.append({"at": time.time(), "topic": message.topic, "told": text})


def _serve(folder: Path) -> uvicorn.Server:
    config = uvicorn.Config(app, port=0, log_level="warning", access_log=False)
    server = uvicorn.Server(config)
    threading.Thread(target=server.run, daemon=True).start()
    while not server.started:
        time.sleep(0.01)
    port = server.servers[0].sockets[0].getsockname()[1]
    (folder / "port").write_text(str(port))
    return server


def main() -> None:
    """Live until SIGTERM."""
    url, folder = sys.argv[1], Path(sys.argv[2])
    signal.signal(signal.SIGTERM, lambda *_: ended.set())
    db = Database(folder / "bare.db", execute_plugins=False)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("PRAGMA synchronous = FULL")
    client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.on_connect = lambda c, *_: c.subscribe("thirstline/#", qos=1)
    client.on_message = _heard
    host, port = url.removeprefix("mqtt://").split(":")
    client.connect(host, int(port))
    server = _serve(folder)
    flushed_s = time.monotonic()
    while not ended.is_set():
        client.loop(LOOP_S)
        if rows and time.monotonic() - flushed_s >= FLUSH_S:
            flushed_s = time.monotonic()
            db.table("told").insert_all(rows)
            rows.clear()
    server.should_exit = True


if __name__ == "__main__":
    main()
