"""Looking at a running daemon or its record from the shell, and the words for it."""

from __future__ import annotations

import dataclasses
import json
import urllib.error
import urllib.request
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from api.page.holds import alerts_to_show, bed_reason, garden_pause, next_words
from api.page.words import Tongue
from controller.datafolder import DataFolder
from controller.errors import StoreError, ThirstlineError, WrongUseError
from controller.verify import Verified, verify
from controller.watering.words import bed_name

TIMEOUT_S = 5.0
VALVE_WORDS = {
    "closed": "closed",
    "told_to_close": "told to close, not verified",
    "opening": "opening",
    "open": "open",
    "unknown": "unknown, taken for open",
    "latched": "latched shut",
}


class UnreachableError(ThirstlineError):
    """No daemon answers for this data folder."""


def garden_now(folder: DataFolder) -> dict[str, Any]:
    """Ask the running daemon for its picture.

    Raises:
        UnreachableError: none answers.
    """
    address = folder.read_daemon_json()
    if address is None:
        msg = f"{folder.path}: no daemon runs here; start one with: thirstline run GARDEN"
        raise UnreachableError(msg)
    request = urllib.request.Request(  # noqa: S310 - our own daemon's address
        f"{address.url}/api/garden", headers={"Authorization": f"Bearer {folder.token()}"}
    )
    try:
        with urllib.request.urlopen(request, timeout=TIMEOUT_S) as reply:  # noqa: S310
            shown: dict[str, Any] = json.load(reply)
    except (urllib.error.URLError, OSError, ValueError) as exc:
        msg = f"{address.url}: the daemon does not answer ({exc}); is it still running?"
        raise UnreachableError(msg) from exc
    return shown


def verified(folder: DataFolder) -> Verified:
    """Re-feed the journal of a data folder.

    Raises:
        StoreError: it cannot be read.
    """
    if not folder.database.exists():
        msg = f"{folder.path}: there is no record here"
        raise StoreError(msg)
    return verify(folder)


def only_folder(example: Path) -> DataFolder:
    """The one data folder there is in the usual place.

    Raises:
        WrongUseError: none or several.
    """
    base = example.parent if example.name == "x" else example
    found = sorted(path.parent for path in base.glob("*/thirstline.db"))
    if (base / "thirstline.db").exists():
        found.append(base)
    if len(found) == 1:
        return DataFolder(found[0])
    many = ", ".join(path.name for path in found) or "none"
    msg = f"{base}: which garden? Found {many}. Say it with --data DIR"
    raise WrongUseError(msg)


def plain(value: object) -> object:
    """Dataclasses, enums and dates as JSON takes them."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, bool | int | float) or value is None:
        return value
    return str(value)


def _local(text: str, zone: ZoneInfo, form: str) -> str:
    return datetime.fromisoformat(text).astimezone(zone).strftime(form)


def _reasons(shown: dict[str, Any], tongue: Tongue) -> list[str]:
    """Why each bed drinks or not; what holds for the whole garden is said once."""
    lines = [f"Locked: {shown['holds']['lock_why']}"] if shown["holds"]["locked"] else []
    lines += [garden_pause(shown, tongue)]
    lines += [bed_reason(shown, bed, tongue) for bed in shown["beds"]]
    return list(dict.fromkeys(line for line in lines if line))


def summary(shown: dict[str, Any]) -> str:
    """The whole garden for people, 80 columns."""
    zone = ZoneInfo(shown["garden"]["timezone"])
    now_utc_s = datetime.fromisoformat(shown["at"]).timestamp()
    tongue = Tongue(zone=zone, us=shown["garden"].get("units") == "us", now_utc_s=now_utc_s)
    lines = [
        f"{shown['garden']['name']}, {_local(shown['at'], zone, '%A %d %B, %H:%M')}",
        f"{shown['waterings']} waterings begun, {shown['litres']:.0f} L, "
        f"{shown['readings']} readings since the start.",
        "",
        f"{'bed':<12}{'used':>6}{'line':>6}  {'valve':<14}{'state':<10}next",
    ]
    for name, bed in shown["beds"].items():
        used = f"{100 * bed['depletion_frac']:.0f} %"
        line = f"{100 * bed['thirst_line_frac']:.0f} %"
        valve = VALVE_WORDS[bed["valve"]].split(",")[0]
        lines.append(
            f"{bed_name(name):<12}{used:>6}{line:>6}  {valve:<14}{bed['state']:<10}"
            f"{next_words(shown, name, tongue) or '-'}"
        )
    lines += ["", *_reasons(shown, tongue)]
    alerts = alerts_to_show(shown)
    if alerts:
        lines += ["", "To look at:", *(f"- {alert['text']}" for alert in alerts)]
    return "\n".join(lines)


NUMBER_WORDS = {
    "depletion_frac": ("used now", 100.0, "%"),
    "sunrise_frac": ("used by sunrise", 100.0, "%"),
    "thirst_line_frac": ("thirst line", 100.0, "%"),
    "floor_frac": ("floor", 100.0, "%"),
    "day_use_frac": ("a day's use", 100.0, "%"),
    "spread_frac": ("give or take", 100.0, "%"),
    "rain_expected_mm": ("rain foretold", 1.0, "mm"),
    "dose_mm": ("dose", 1.0, "mm"),
    "dose_l": ("dose", 1.0, "L"),
    "allowed_l": ("left of the limit", 1.0, "L"),
    "given_l": ("given", 1.0, "L"),
}
PROBE_WORDS = {
    "ok": "Its probes speak.",
    "doubtful": "Its probes are in doubt.",
    "none": "No probe speaks; it goes by its balance.",
}


def why(bed_id: str, bed: dict[str, Any]) -> str:
    """One bed's reason and the numbers behind it."""
    lines = [bed["reason"]["text"], ""]
    for key, value in bed["reason"]["numbers"].items():
        word, factor, unit = NUMBER_WORDS.get(key, (key, 1.0, ""))
        lines.append(f"  {word:<22}{factor * value:>8.1f} {unit}")
    lines += [
        "",
        f"{bed_name(bed_id)} can hold {bed['taw_l']:.0f} L between full and wilting. Stage: "
        f"{bed['stage']}.",
        f"Its valve: {VALVE_WORDS[bed['valve']]}. {PROBE_WORDS.get(bed['quality'], '')}",
    ]
    return "\n".join(lines)


def verified_text(found: Verified) -> str:
    """What a re-feed came to, for people."""
    if found.first_utc_s is None:
        return "The journal is empty: nothing to compare."
    since = datetime.fromtimestamp(found.first_utc_s, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
    if found.differs_at is None:
        return f"{found.events} events since {since}: every decision is the same again."
    return (
        f"Event {found.differs_at} ({found.what}) was answered otherwise than the record says. "
        f"{found.events - 1} events since {since} agree before it."
    )
