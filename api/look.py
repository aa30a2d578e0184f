"""Looking at a running daemon or its record from the shell, and the words for it."""

from __future__ import annotations

import dataclasses
import json
import urllib.error
import urllib.request
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from api.page import front, teachings
from api.page.changes import changes
from api.page.felt import sentences
from api.page.holds import (
    alerts_to_show,
    bed_reason,
    expected_words,
    garden_pause,
    in_contact,
    is_over,
    later_words,
    next_words,
    over_words,
    promised_s,
    reason_numbers,
    usual_s,
)
from api.page.scarce import supply_words
from api.page.states import drawn_words
from api.page.words import Tongue, named, number
from controller.datafolder import DataFolder
from controller.errors import RefusedError, StoreError, UnreachableError, WrongUseError
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


def garden_now(folder: DataFolder) -> dict[str, Any]:
    """Ask the running daemon for its picture.

    Raises:
        UnreachableError: none answers.
    """
    return asked(folder, "garden")


def in_us_units(folder: DataFolder) -> bool:
    """Whether the running garden is spoken of in gallons, inches and pounds.

    Raises:
        UnreachableError: no daemon answers.
    """
    return bool(garden_now(folder).get("garden", {}).get("units") == "us")


def asked(folder: DataFolder, path: str) -> dict[str, Any]:
    """Ask the running daemon for something below `/api/`.

    Raises:
        UnreachableError: none answers, or it does not answer that.
    """
    address = _address(folder)
    request = urllib.request.Request(  # noqa: S310 - our own daemon's address
        f"{address}/api/{path}", headers={"Authorization": f"Bearer {folder.token()}"}
    )
    try:
        return _answer(request, address)
    except urllib.error.HTTPError as exc:
        exc.close()
        raise UnreachableError(_silent(address, exc)) from exc


def _address(folder: DataFolder) -> str:
    address = folder.read_daemon_json()
    if address is None:
        msg = f"{folder.path}: no daemon runs here; start one with: thirstline run GARDEN"
        raise UnreachableError(msg)
    return address.url


def _silent(address: str, exc: Exception) -> str:
    return f"{address}: the daemon does not answer ({exc}); is it still running?"


def _answer(
    request: urllib.request.Request, address: str, timeout_s: float = TIMEOUT_S
) -> dict[str, Any]:
    """One call; a status of refusal is left to the caller."""
    try:
        with urllib.request.urlopen(request, timeout=timeout_s) as reply:  # noqa: S310
            shown: dict[str, Any] = json.load(reply)
    except urllib.error.HTTPError:
        raise
    except (urllib.error.URLError, OSError, ValueError) as exc:
        raise UnreachableError(_silent(address, exc)) from exc
    return shown


def told(
    folder: DataFolder, bed: str, what: str, body: dict[str, object], method: str = "POST"
) -> dict[str, Any]:
    """Tell the running daemon what somebody felt or saw of a bed, as `sent` does.

    Args:
        folder: of the daemon.
        bed: its id.
        what: `soil`, `look`, `poured`, `miss`, `pick`, `stage` or `forget`.
        body: as the API takes it.
        method: `DELETE` takes back.
    """
    return sent(folder, f"beds/{quote(bed, safe='')}/{what}", body, method)


def sent(
    folder: DataFolder,
    path: str,
    body: dict[str, object],
    method: str = "POST",
    timeout_s: float = TIMEOUT_S,
) -> dict[str, Any]:
    """Send the running daemon a word of its operator.

    Args:
        folder: of the daemon.
        path: below `/api/`.
        body: as the API takes it.
        method: of HTTP.
        timeout_s: how long to wait for the answer [s, real].

    Returns:
        The record made, with its `text`.

    Raises:
        UnreachableError: no daemon answers.
        RefusedError: it says no, and why.
    """
    address = _address(folder)
    request = urllib.request.Request(  # noqa: S310 - our own daemon's address
        f"{address}/api/{path}",
        data=json.dumps(body).encode(),
        headers={"Authorization": f"Bearer {folder.token()}", "Content-Type": "application/json"},
        method=method,
    )
    try:
        return _answer(request, address, timeout_s)
    except urllib.error.HTTPError as exc:
        with exc:
            try:
                detail = str(json.load(exc)["detail"])
            except (ValueError, KeyError, TypeError):
                detail = str(exc)
        raise RefusedError(detail) from exc


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
    if not found:
        msg = f"{base}: no garden has run here yet. If its record lies elsewhere, say --data DIR"
        raise WrongUseError(msg, ("run", "GARDEN"))
    many = ", ".join(path.name for path in found)
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


def _valve(shown: dict[str, Any], bed: dict[str, Any]) -> str:
    """What is known of a bed's valve; of one that is not heard, what was so."""
    words = VALVE_WORDS[bed["valve"]]
    was = {"closed": "was closed", "open": "was open", "opening": "was opening"}
    return words if in_contact(shown, bed) else was.get(bed["valve"], words)


def _reasons(shown: dict[str, Any], tongue: Tongue) -> list[str]:
    """Why each bed drinks or not; what holds for the whole garden is said once."""
    lines = [f"Locked: {shown['holds']['lock_why']}"] if shown["holds"]["locked"] else []
    lines += [garden_pause(shown, tongue)]
    lines += [bed_reason(shown, bed, tongue) for bed in shown["beds"]]
    return list(dict.fromkeys(line for line in lines if line))


def today(shown: dict[str, Any]) -> str:
    """The garden's local day, `2026-07-15`."""
    tongue = tongue_of(shown)
    return f"{tongue.local(tongue.now_utc_s):%Y-%m-%d}"


def tongue_of(shown: dict[str, Any]) -> Tongue:
    """How this garden is spoken of."""
    now_utc_s = datetime.fromisoformat(shown["at"]).timestamp()
    zone = ZoneInfo(shown["garden"]["timezone"])
    return Tongue(zone=zone, us=shown["garden"].get("units") == "us", now_utc_s=now_utc_s)


def walk_words(shown: dict[str, Any]) -> list[str]:
    """What a walk or proof does now, and what the last weekly proof of the master came to."""
    walk = shown.get("walk", {})
    now, last = walk.get("now"), walk.get("proof", {}).get("last")
    return [str(told["text"]) for told in (now, last) if told]


def at_a_glance(shown: dict[str, Any], tongue: Tongue) -> str:
    """The page's large sentence: whether all is well, and who drinks next."""
    sentence = "".join(text for text, _ in front.headline(shown, tongue))
    return f"{front.verdict(shown)} {sentence}".strip()


def summary(shown: dict[str, Any]) -> str:
    """The whole garden for people, 80 columns."""
    tongue = tongue_of(shown)
    zone = tongue.zone
    lines = [
        f"{shown['garden']['name']}, {_local(shown['at'], zone, '%A %d %B, %H:%M')}",
        at_a_glance(shown, tongue),
        front.todo(shown, tongue),
        f"{shown['waterings']} watering{'s' * (shown['waterings'] != 1)} begun, "
        f"{tongue.litres(shown['litres'])}, "
        f"{shown['readings']} readings since the start.",
        "",
        f"{'bed':<12}{'used':>5}{'line':>5}  {'valve':<14}{'state':<9}next",
    ]
    for name, bed in shown["beds"].items():
        used = f"{100 * bed['depletion_frac']:.0f} %"
        line = f"{100 * bed['thirst_line_frac']:.0f} %"
        valve = _valve(shown, bed).split(",")[0]
        lines.append(
            f"{bed_name(name):<12}{used:>5}{line:>5}  {valve:<14}{bed['state']:<9}"
            f"{next_words(shown, name, tongue, short=True) or '-'}"
        )
    supply = supply_words(shown, tongue)
    lines += ["", *([supply] if supply else []), *_reasons(shown, tongue)]
    lines += [tongue.said(one) for one in walk_words(shown)]
    alerts = alerts_to_show(shown)
    if alerts:
        lines += ["", "To look at:", *(f"- {tongue.said(alert['text'])}" for alert in alerts)]
    return "\n".join(lines)


PROBE_WORDS = {
    "ok": "Its probes speak.",
    "doubtful": "Its probes are in doubt.",
    "none": "No probe speaks; it goes by its balance.",
}


def doubts(bed: dict[str, Any]) -> list[str]:
    """What is doubted of a bed's probes, a sentence each."""
    probes = bed.get("probes", {}).values()
    return [str(flag["text"]) for probe in probes for flag in probe["flags"]]


def sky_words(shown: dict[str, Any]) -> list[str]:
    """Where the garden's water use and the rain to come are taken from, once that is known."""
    sky = shown.get("sky", {})
    said = (sky.get("text", ""), sky.get("foretold", {}).get("text", ""))
    return [text for text in said if text]


def untried_words(bed: dict[str, Any]) -> list[str]:
    """That the lines of a bed's crop were never tried, where they were not."""
    crops = ", ".join(bed.get("untried", ()))
    return (
        [f"Untried: its lines for {crops} are a handbook's. Look at the leaves."] if crops else []
    )


def _goes_by(bed: dict[str, Any]) -> str:
    """Whether its probes speak; a bed that follows another has none."""
    return "" if bed.get("follows") else PROBE_WORDS.get(bed["quality"], "")


def _expected(bed_id: str, shown: dict[str, Any]) -> list[str]:
    """When a bed is likely to drink next, as its card says it; nothing if none is promised."""
    window = promised_s(shown, bed_id)
    if window is None:
        return []
    bed = shown["beds"][bed_id]
    later = later_words(bed)
    said = expected_words(window, usual_s(bed), tongue_of(shown), later=later)
    sure = "" if later or "8 in 10" in said else ", 8 in 10 sure"
    return [f"Next watering{sure}: {said}."]


def why(bed_id: str, shown: dict[str, Any]) -> str:
    """One bed's reason and the numbers behind it, from the garden's picture."""
    bed, tongue = shown["beds"][bed_id], tongue_of(shown)
    over = is_over(bed)
    said = over_words(bed_id, bed, tongue) if over else tongue.said(bed["reason"]["text"])
    lines = [said, ""]
    for key, raw in reason_numbers(bed).items():
        value = number(raw)
        said = "not known" if value is None else tongue.value(key, value)
        lines.append(f"  {named(key):<40}{said:>10}")
    would = changes(bed, tongue)
    if would:
        lines += ["", "What would change it:", *(f"- {one}" for one in would)]
    lines += [
        "",
        *_expected(bed_id, shown),
        *([f"Its thirst line now: {drawn_words(bed)}."] if drawn_words(bed) else []),
        f"{bed_name(bed_id)} can hold {tongue.litres(bed['taw_l'])} between full and wilting. "
        f"Stage: {bed['stage']}.",
        f"Its valve: {_valve(shown, bed)}. {_goes_by(bed)}",
        *teachings.sentences(bed, tongue),
        *sentences(bed, tongue),
        *untried_words(bed),
        *(tongue.said(one) for one in (*doubts(bed), *sky_words(shown))),
    ]
    return "\n".join(lines)


def verified_text(found: Verified) -> str:
    """What a re-feed came to, for people, by the garden's own clock."""
    if found.damaged is not None:
        first, last = found.damaged
        return (
            f"Events {first} to {last} are damaged on the disk: neither they nor what came after "
            f"them can be compared. {found.events} events before them agree."
        )
    if found.first_utc_s is None:
        return "The journal is empty: nothing to compare."
    local = datetime.fromtimestamp(found.first_utc_s, ZoneInfo(found.timezone))
    since = f"{local:%Y-%m-%d %H:%M:%S %Z}"
    if found.differs_at is None:
        return f"{found.events} events since {since}: every decision is the same again."
    return (
        f"Event {found.differs_at} ({found.what}) was answered otherwise than the record says. "
        f"{found.events - 1} events since {since} agree before it."
    )
