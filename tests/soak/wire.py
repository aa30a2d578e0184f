"""A soak over the broker: nodes that break, a broker that dies, people who look and order.

Every sample is one line of `samples.jsonl`. Between samples somebody reads the page, waters a bed
by hand now and then, lifts alarms that ask for a person, and the broker is ended and comes back.
"""

from __future__ import annotations

import json
import signal
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from controller.datafolder import DataFolder
from controller.store import Store
from controller.trusted import ClockStamp
from tests.soak.plot import BEDS, fault_script
from tests.soak.samples import of_folder, of_process, write_line
from tests.soak.site import ROOT, Site

BEGIN = datetime(2026, 7, 16, 5, 30, tzinfo=UTC)  # 22:30 at the plot: within its hours
WALK_BEGIN = datetime(2026, 7, 15, 18, 0, tzinfo=UTC)
WALK_SPEED = 30.0
WALK_MOST_S = 1500.0  # [s] real
READY_S = 300.0  # [s] real
READ = ("/", "/api/garden", "/season", "/api/log?limit=200", "/tank", "/api/garden")
CALM_FRAC = 0.06  # [-] of a run at its end without faults of the nodes
CALM_LEAST_S = 2700.0  # [s] garden time: so long a probe's alarm may stand after its mend
EVERY_REAL_S = 30.0


def until_ready(site: Site) -> None:
    """Wait for the end of the quiet start."""
    end_s = time.monotonic() + READY_S
    while time.monotonic() < end_s:
        try:
            shown = site.call("/api/garden")
            if shown["ready"] and shown["link_up"]:
                return
        except (OSError, ValueError, KeyError):
            pass
        time.sleep(0.2)
    msg = f"no ready daemon; see {site.folder}"
    raise SystemExit(msg)


def walk(site: Site) -> None:
    """Walk every valve under a faster clock, as a person does before the first water."""
    site.begin(speed=WALK_SPEED, sim=WALK_BEGIN, hours=24.0, armed=False)
    site.ensure()
    until_ready(site)
    print(site.call("/api/walk", {"yes": True}), flush=True)  # noqa: T201 - a command
    end_s = time.monotonic() + WALK_MOST_S
    while time.monotonic() < end_s:
        time.sleep(1.0)
        if site.call("/api/garden")["walk"]["now"] is None:
            break
    shown = site.call("/api/garden")["walk"]
    site.end_all()
    armed = [bed for bed, one in shown["beds"].items() if one["armed"]]
    print(f"walked: {len(armed)} of {len(shown['beds'])} beds", flush=True)  # noqa: T201
    if len(armed) < len(BEDS):
        msg = f"not all are armed: {json.dumps(shown)[:2000]}"
        raise SystemExit(msg)


def begin(site: Site, *, speed: float, hours: float, walked: bool) -> None:
    """Begin a run: the walk first where the clock is the real one."""
    if walked:
        walk(site)
    span_s = hours * 3600.0
    fault_s = max(360.0, span_s / 84.0)
    calm_s = max(CALM_FRAC * span_s, min(CALM_LEAST_S, 0.5 * span_s))
    told = fault_script(span_s - calm_s, fault_s, first_s=min(300.0, span_s / 4.0))
    site.begin(speed=speed, sim=BEGIN, hours=hours, armed=not walked)
    (site.folder / "faults.toml").write_text(told, encoding="utf-8")


def live(site: Site, every_real_s: float) -> None:
    """Sample until the run is over; what it left off before, it goes on with."""
    span_s, n = site.kept.hours * 3600.0, 0
    site.ensure()
    until_ready(site)
    while site.garden_s < span_s:
        due_s = time.monotonic() + every_real_s
        began = site.ensure()
        told = visit(site, n)
        if n % 8 == 7:
            break_broker(site, n)
        write_line(site.folder / "samples.jsonl", {**sample(site), **told, "began": began})
        n += 1
        time.sleep(max(0.1, due_s - time.monotonic()))
    last = {**sample(site), **visit(site, 1), "began": [], "last": True}
    write_line(site.folder / "samples.jsonl", last)
    site.end_all()
    take_stock(site)


def take_stock(site: Site) -> None:
    """As the next start would: what has no end yet is charged in full."""
    folder = DataFolder(site.data)
    store = Store.open(folder)
    stamp = ClockStamp(boot_id="", mono_s=0.0, utc_s=0.0, synced=False, trusted_s=0.0)
    store.recover(stamp, scaled=False)
    store.close()
    folder.unlock()


def sample(site: Site) -> dict[str, Any]:
    """What there is to measure now."""
    told: dict[str, Any] = {"at": time.time(), "garden_s": round(site.garden_s, 1)}
    for name in ("daemon", "nodes", "broker"):
        pid = site.pid(name)
        if pid is not None:
            told[name] = {"pid": pid, **of_process(pid)}
    told["files"] = of_folder(site.data)
    return told


def visit(site: Site, n: int) -> dict[str, Any]:
    """Look at the page, order, look after what asks for a person."""
    told: dict[str, Any] = {}
    try:
        for path in READ:
            site.call(path)
        shown = site.call("/api/garden")
        told = {
            "alerts": sorted({alert["code"] for alert in shown["alerts"]}),
            "link_up": shown["link_up"],
            "watering": sum(1 for bed in shown["beds"].values() if bed["watering"]),
        }
        for alert in shown["alerts"]:
            if alert["person_needed"]:
                site.call(f"/api/alerts/{alert['id']}/clear", {"why": "looked after"})
        if n % 5 == 2:
            bed = BEDS[(3 * n) % len(BEDS)]
            told["order"] = site.call(f"/api/beds/{bed}/water", {"litres": 8.0})
        if n % 20 == 13:
            site.call("/api/stop", {})
    except (OSError, ValueError) as exc:
        told["trouble"] = repr(exc)[:200]
    return told


def break_broker(site: Site, n: int) -> None:
    """The broker ends, cleanly or not, and comes back."""
    site.end("broker", signal.SIGKILL if n % 16 == 15 else signal.SIGTERM)
    time.sleep(0.5)
    site.start_broker()


def run(
    folder: Path, *, speed: float, hours: float, walked: bool, every_real_s: float = EVERY_REAL_S
) -> None:
    """Begin or go on, to the end."""
    site = Site(folder.absolute())
    if not site.begun or (walked and site.kept.speed != speed):
        begin(site, speed=speed, hours=hours, walked=walked)
    print(f"{folder}: soaked from {ROOT}", flush=True)  # noqa: T201 - a command
    live(site, every_real_s)
