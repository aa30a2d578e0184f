"""The documents obeyed to the letter on a bare Debian root: from nothing to a season and back.

    python tests/bare_root.py FOLDER [--earlier COMMIT] [--words]

Takes the blocks that hardware_notes/installing.md marks with `<!-- run: board-NAME -->`, types them
as root into a root that systemd has booted (`boot_root.py` says what that needs): an earlier
version, service, broker, virtual nodes, walk, first water, upgrade in a dose, backup; then a card
that never saw any of it, and the way back. Real time, about 45 minutes, a gigabyte in FOLDER; not
part of the build. Exit 1 at the first thing that is not so. `--words` prints the blocks and ends.

Not the documents' own are, and only these: the clock counts as set (a mark that the time service
leaves; a container has none), the walk gets `--yes`, the virtual nodes are this checkout's.
"""

from __future__ import annotations

import argparse
import json
import math
import re
import sys
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from tests.boot_root import Root, make_base, run  # noqa: E402 - run as a program too

PAGE = ROOT / "hardware_notes/installing.md"
MARKED = re.compile(r"^<!-- run: board-([a-z-]+) -->\n```sh\n(.*?)^```$", re.MULTILINE | re.DOTALL)
EARLIER = "fb005ca"  # tables of version 2, engine of version 4; its first `install-service`
AS_SERVICE = "runuser -u thirstline -- thirstline {} --data /var/lib/thirstline"
CLOCK_SET = "mkdir -p /run/systemd/timesync && touch /run/systemd/timesync/synchronized"
QUIET_S, JUDGE_S, BACK_S = 300.0, 1500.0, 420.0
QUIET_LEAST_S = 130.0  # of the 140 s; the start was a few seconds ago when it is looked at
ORDER = """
import json, pathlib, urllib.error, urllib.request
token = pathlib.Path("/var/lib/thirstline/token").read_text().strip()
told = urllib.request.Request("http://127.0.0.1:8470/api/beds/wall/water", method="POST",
    data=b'{"litres": 5}', headers={"Authorization": f"Bearer {token}",
    "Content-Type": "application/json"})
try:
    print(urllib.request.urlopen(told, timeout=10).read().decode())
except urllib.error.HTTPError as exc:
    print(exc.read().decode())
"""


def blocks() -> dict[str, str]:
    """The marked blocks of installing.md by name."""
    return dict(MARKED.findall(PAGE.read_text(encoding="utf-8")))


def packages() -> list[str]:
    """Debian's packages that the words ask for."""
    found = re.search(r"apt-get install -y ([a-z0-9 +.-]+)", blocks()["place"])
    assert found is not None
    return found[1].split()


class Story:
    """What happens, told line by line with the seconds that it took."""

    def __init__(self, folder: Path, earlier: str) -> None:
        self.folder = folder
        self.earlier = earlier
        self.words = blocks()
        self.base = make_base(folder, packages(), ROOT)
        self.root = Root(self.base, folder / "first")
        self._began_s = time.monotonic()

    def say(self, what: str) -> None:
        """One line."""
        sys.stdout.write(f"{time.monotonic() - self._began_s:7.0f} s  {what}\n")
        sys.stdout.flush()

    def need(self, true: object, what: str) -> None:
        """Go on, or end with what is not so and the last words of the service."""
        if not true:
            log = self.root.sh("journalctl -u thirstline -u thirstline-backup -n 40 --no-pager")
            self.say(f"NOT SO: {what}\n{log.stdout}")
            raise SystemExit(1)
        self.say(what)

    def type(self, name: str, *, within: str = "/srv/thirstline", more: str = "") -> str:
        """Type a block of the document, in the cloned folder; every line has to succeed."""
        began_s = time.monotonic()
        text = self.words[name].strip() + more
        done = self.root.sh(f"cd {within}\n{text}", strict=True)
        took_s = time.monotonic() - began_s
        self.need(done.returncode == 0, f"board-{name} ({took_s:.0f} s){trouble(done)}")
        return done.stdout

    def service(self, words: str) -> str:
        """What a command says as the service's user."""
        return self.root.sh(AS_SERVICE.format(words)).stdout

    def garden(self) -> dict[str, Any]:
        """What the daemon says; empty where it does not answer."""
        try:
            found: dict[str, Any] = json.loads(self.service("status --json"))
        except ValueError:
            return {}
        return found

    def until(self, true: Callable[[], object], within_s: float, what: str) -> None:
        """Wait for something, and say how long it took."""
        began_s = time.monotonic()
        while not (met := true()) and time.monotonic() - began_s < within_s:
            time.sleep(3.0)
        self.need(met, f"{what} ({time.monotonic() - began_s:.0f} s)")

    def ledger(self) -> list[dict[str, Any]]:
        """The openings on record."""
        text = (
            "import json,sqlite3; db=sqlite3.connect('file:/var/lib/thirstline/thirstline.db?"
            "mode=ro', uri=True); db.row_factory=sqlite3.Row; "
            "print(json.dumps([dict(r) for r in db.execute('SELECT * FROM ledger')]))"
        )
        told = self.root.sh(f'/opt/thirstline/bin/python -c "{text}"').stdout
        return [dict(row) for row in json.loads(told)]

    def truth(self, bed: str) -> tuple[float, bool]:
        """Litres that the virtual nodes let through to a bed, and whether it is open."""
        own = self.truth_lines(bed)
        return max((float(one["litres"]) for one in own), default=0.0), bool(own[-1]["open"])

    def truth_lines(self, bed: str) -> list[dict[str, Any]]:
        """What the virtual nodes wrote down of one bed's valve; the last line may be half."""
        text = (self.root.path / "srv/truth.jsonl").read_text()
        lines = [json.loads(line) for line in text.splitlines() if line.endswith("}")]
        return [line for line in lines if line["valve"] == bed]

    def first_open_s(self, bed: str, since_utc_s: float) -> float:
        """So long after an instant a valve was first seen open; infinite where it was not."""
        found = [datetime.fromisoformat(o["at"]) for o in self.truth_lines(bed) if o["open"]]
        after = [at.timestamp() - since_utc_s for at in found if at.timestamp() > since_utc_s]
        return min(after, default=math.inf)

    def start_bench(self) -> None:
        """The virtual nodes, by this checkout's program; their truth is written down."""
        text = self.words["bench"].strip().replace("thirstline bench", "exec thirstline bench")
        path = "PATH=/opt/bench/bin:$PATH; cd /srv/thirstline"
        log = self.folder / "bench.log"
        self.root.beside(f"{path}\n{text} --truth /srv/truth.jsonl", log)
        self.until((self.root.path / "srv/truth.jsonl").exists, 90.0, "board-bench: nodes speak")

    # -- the two cards

    def lay(self, place: str, commit: str) -> None:
        """A clone of the repository at a commit."""
        target = self.root.path / place.lstrip("/")
        run("git", "clone", "-q", str(ROOT), str(target))
        run("git", "-C", str(target), "checkout", "-q", commit)

    def first_card(self) -> None:
        """Install, first water."""
        self.lay("/srv/thirstline", "HEAD")
        self.lay("/srv/earlier", self.earlier)
        self.root.boot()
        self.say(f"systemd runs; it can bound: {self.root.bounds() or 'no memory, no tasks'}")
        self.type("place", within="/srv/earlier")
        self.root.sh("python3 -m venv /opt/bench && /opt/bench/bin/pip install /srv/thirstline")
        for name in ("garden", "service", "broker"):
            self.type(name)
        self.start_bench()
        self.root.sh(CLOCK_SET)
        self.type("start")
        self.until(lambda: self.garden().get("ready"), QUIET_S, "the quiet start is over")
        fence = self.root.sh(
            "grep -E '^(NoNewPrivs|Seccomp|CapEff|VmRSS)' "
            "/proc/$(systemctl show -p MainPID --value thirstline)/status"
        ).stdout
        self.say("the service's fence in force: " + ", ".join(fence.split()))
        self.type("walk", more=" --yes")
        self.root.sh(CLOCK_SET)
        self.until(lambda: self.truth("wall")[1], JUDGE_S, "wall drinks, and nobody ordered it")
        self.until(lambda: self.truth("wall")[0] > 1.0, 120.0, "the first litre")
        told = self.root.sh(self.words["look"]).stdout  # doctor ends with 1 where it finds a thing
        answers = "The daemon answers." in told and "watering begun" in told
        self.need(answers, "board-look: doctor and status answer")

    def upgrade(self) -> None:
        """In the middle of that dose."""
        self.need(self.truth("wall")[1], "wall still drinks as the upgrade begins")
        before = {row["dose"] for row in self.ledger()}
        self.type("upgrade")
        started_utc_s = time.time()
        litres, still = self.truth("wall")
        self.need(not still, f"the dose has ended; {litres:.1f} L had flowed")
        rows = [row for row in self.ledger() if row["dose"] in before]
        ended = {row["outcome"] for row in rows}
        self.need(ended <= {"CONFIRMED", "NEVER_SENT"}, f"rows in the ledger: {ended or 'none'}")
        charged = sum(row["charged_l"] for row in rows if row["bed"] == "wall")
        self.need(charged >= litres, f"charged {charged:.1f} L")
        kept = self.root.sh("ls /var/lib/thirstline/backups").stdout.split()
        self.need(kept, f"backed up before the tables changed: {kept}")
        self.until(lambda: self.garden().get("ready"), QUIET_S, "the new version is ready")
        open_s = self.first_open_s("wall", started_utc_s)
        self.need(open_s > QUIET_LEAST_S, f"quiet after its start; wall opens after {open_s:.0f} s")
        codes = [alert["code"] for alert in self.garden()["alerts"]]
        self.need("not_armed" not in codes, f"the walk outlived it; alerts: {codes}")

    def back_up(self) -> None:
        """By the timer's own unit; then more water, which no backup knows."""
        done = self.root.sh("systemctl start thirstline-backup.service", strict=True)
        self.need(done.returncode == 0, f"the daily backup{trouble(done)}")
        told = self.root.sh("thirstline backup --list /media/stick").stdout
        self.need(told.count("\n") == 2, f"on the stick:\n{told}")
        self.root.stop()
        self.say("the first card is gone")

    def second_card(self) -> None:
        """A bare root that has only the stick."""
        stick = self.root.path / "media/stick"
        self.root = Root(self.base, self.folder / "second")
        self.lay("/srv/thirstline", "HEAD")
        run("cp", "-a", str(stick), str(self.root.path / "media/stick"))
        self.root.boot()
        self.root.sh("useradd --system somebody; useradd --system another")  # other numbers
        self.type("place")
        self.root.sh("cp -a /opt/thirstline /opt/bench")
        self.type("back-garden")
        for name in ("service", "broker", "back"):
            self.type(name)
        self.start_bench()
        self.root.sh(CLOCK_SET)
        self.type("start")
        self.until(lambda: self.garden().get("ready"), QUIET_S, "the quiet start is over")
        codes = {alert["code"] for alert in self.garden()["alerts"]}
        self.need("history_lost" in codes, f"it says that history is lost; alerts: {codes}")
        self.need("not_armed" not in codes, "the walk came back")
        (self.root.path / "srv/order.py").write_text(ORDER)
        refused = json.loads(self.root.sh("/opt/thirstline/bin/python /srv/order.py").stdout)
        self.need(refused.get("reason") == "budget_spent", f"an order: {refused.get('reason')}")
        time.sleep(BACK_S)
        litres, is_open = self.truth("wall")
        why = self.garden()["beds"]["wall"]["reason"]["code"]
        self.need(
            (litres, is_open) == (0.0, False), f"{BACK_S:.0f} s on nothing flowed; wall: {why}"
        )
        self.root.stop()

    def tell(self) -> None:
        """Everything, in order."""
        try:
            self.first_card()
            self.upgrade()
            self.back_up()
            self.second_card()
            self.say("all of it is so")
        finally:
            self.root.stop()


def trouble(done: Any) -> str:
    """What a failed command said."""
    return "" if done.returncode == 0 else f"\n{done.stdout}{done.stderr}"


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--earlier", default=EARLIER, metavar="COMMIT")
    parser.add_argument("--words", action="store_true", help="print the blocks and end")
    told = parser.parse_args()
    if told.words:
        for name, text in blocks().items():
            sys.stdout.write(f"# board-{name}\n{text}\n")
        return
    told.folder.mkdir(parents=True, exist_ok=True)
    Story(told.folder.absolute(), told.earlier).tell()


if __name__ == "__main__":
    main()
