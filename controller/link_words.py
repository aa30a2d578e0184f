"""What the controller says of itself on the wire, as bytes. Pure."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime

from controller.effects import Alert

ALERT_BYTES = 3500  # [bytes] of the alert list, so that its packet passes a limit of 4096
GONE = b'{"state": "gone"}'


def plain_json(**fields: object) -> bytes:
    """One object, finite numbers only."""
    return json.dumps(fields, allow_nan=False).encode()


def rfc3339(at_utc_s: float) -> str:
    """An instant [s UTC] as the wire has it."""
    text = datetime.fromtimestamp(at_utc_s, tz=UTC).isoformat(timespec="milliseconds")
    return text.replace("+00:00", "Z")


def alert_list(alerts: Sequence[Alert]) -> bytes:
    """Write the list, cut from its end where it would be too large; a person's needs go first."""
    standing = sorted(alerts, key=lambda a: (not a.person_needed, a.since_utc_s, a.id))
    rows = [
        {
            "id": a.id,
            "code": a.code,
            "bed": a.bed,
            "valve": a.valve,
            "probe": a.probe,
            "since": rfc3339(a.since_utc_s),
            "text": a.text,
            "person_needed": a.person_needed,
        }
        for a in standing
    ]
    payload = json.dumps(rows).encode()
    while len(payload) > ALERT_BYTES:
        rows.pop()
        payload = json.dumps(rows).encode()
    return payload
