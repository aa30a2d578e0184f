"""A bare Debian root in a folder, booted under systemd in namespaces of its own.

Needs Linux with cgroup version 2, root, `debootstrap`, `unshare` and `nsenter`. The booted root
has no network but its own loopback, which also bears the board's address of the documents: what
it installs was fetched before, by this machine's own apt and pip. `/proc/sys` is read-only in it.
Controllers of cgroups may be missing: then memory and tasks are not bounded, which `bounds` tells.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

SUITE = "bookworm"
BOARD_ADDRESS = "192.168.1.10"
SEARCH = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
START_S, STOP_S = 120.0, 40.0
BOOT = r"""
set -eu
mount --make-rprivate /
mount --bind "$1" "$1"
cd "$1"
mount -t proc -o nosuid,nodev,noexec proc proc
mount --bind proc/sys proc/sys && mount -o remount,bind,ro proc/sys
mount -t sysfs -o ro sysfs sys
mount -t cgroup2 cgroup2 sys/fs/cgroup
mount -t tmpfs -o mode=755 tmpfs run
mount -t tmpfs -o mode=755,nosuid tmpfs dev
for n in null zero full random urandom tty; do touch dev/$n; mount --bind /dev/$n dev/$n; done
ln -s /proc/self/fd dev/fd; ln -s fd/0 dev/stdin; ln -s fd/1 dev/stdout; ln -s fd/2 dev/stderr
mkdir dev/pts dev/shm old
mount -t devpts -o newinstance,ptmxmode=0666,mode=620 devpts dev/pts
ln -s pts/ptmx dev/ptmx
mount -t tmpfs tmpfs dev/shm
hostname board
ip link set lo up
ip addr add "$2/24" dev lo
pivot_root . old; umount -l /old; rmdir /old
exec env -i container=bare-root PATH="$3" /lib/systemd/systemd --system --show-status=false
"""


def make_base(folder: Path, packages: Iterable[str], wheels_for: Path) -> Path:
    """Make the root that others are copied from, with packages and wheels laid ready in it.

    Args:
        folder: where it goes, `base` within it; one that stands there is taken.
        packages: Debian's, fetched and not installed.
        wheels_for: the checkout whose run-time dependencies are fetched.
    """
    base = folder / "base"
    if not (base / "srv/ready").exists():
        run("debootstrap", SUITE, str(base))
        shutil.copy("/etc/resolv.conf", base / "etc/resolv.conf")
        run("chroot", str(base), "apt-get", "update", "-q")
        run("chroot", str(base), "apt-get", "install", "-q", "-y", "--download-only", *packages)
        (base / "etc/resolv.conf").unlink()
        fetch_wheels(wheels_for, base / "srv/wheels")
        (base / "etc/pip.conf").write_text(
            "[global]\nno-index = true\nfind-links = /srv/wheels\n", encoding="ascii"
        )
        (base / "srv/ready").touch()
    return base


def fetch_wheels(checkout: Path, target: Path) -> None:
    """Fetch what `pip install .` takes there: wheels for Debian 12's Python, which is 3.11."""
    import tomllib

    project = tomllib.loads((checkout / "pyproject.toml").read_text(encoding="utf-8"))
    wanted = [*project["build-system"]["requires"], "wheel", *project["project"]["dependencies"]]
    only = ["--only-binary=:all:", "--python-version", "3.11"]
    run(sys.executable, "-m", "pip", "download", "-q", "-d", str(target), *only, *wanted)


def run(*words: str) -> None:
    """Run a command of this machine; its words on standard error where it fails."""
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode != 0:
        sys.exit(f"{' '.join(words)}: status {done.returncode}\n{done.stdout}{done.stderr}")


def cgroup_mount() -> Path:
    """Where cgroup version 2 is mounted."""
    for line in Path("/proc/self/mounts").read_text(encoding="utf-8").splitlines():
        where, kind = line.split()[1:3]
        if kind == "cgroup2":
            return Path(where)
    sys.exit("no cgroup version 2 is mounted: systemd cannot be started in here")


class Root:
    """One root, copied from the base.

    Args:
        base: what `make_base` made.
        path: where the copy goes; what stands there is removed.
    """

    def __init__(self, base: Path, path: Path) -> None:
        self.path = path
        if path.exists():
            shutil.rmtree(path)
        run("cp", "-a", str(base), str(path))
        self._outer: subprocess.Popen[bytes] | None = None
        self._cgroup = cgroup_mount() / f"bare-root-{os.getpid()}-{path.name}"

    def boot(self) -> None:
        """Start systemd in it, and wait until it says that it runs."""
        self._cgroup.mkdir()
        inner = ["unshare", "--mount", "--pid", "--fork", "--ipc", "--uts", "--net", "--cgroup"]
        inner += ["--kill-child", "bash", "-c", BOOT, "boot", str(self.path), BOARD_ADDRESS, SEARCH]
        into = 'echo $$ > "$0/cgroup.procs"; exec "$@"'
        log = (self.path.parent / f"{self.path.name}.boot.log").open("wb")
        with log:
            self._outer = subprocess.Popen(
                ["bash", "-c", into, str(self._cgroup), *inner],
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        end_s = time.monotonic() + START_S
        while time.monotonic() < end_s:
            if self.sh("systemctl is-system-running").stdout.strip() in {"running", "degraded"}:
                return
            time.sleep(1.0)
        sys.exit(f"systemd did not come up in {self.path}: see {log.name}")

    def _init(self) -> str:
        assert self._outer is not None
        pid = self._outer.pid
        return Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii").strip()

    def sh(self, text: str, *, strict: bool = False) -> subprocess.CompletedProcess[str]:
        """Run lines of a shell in it, as root; `strict` ends at the first that fails."""
        return subprocess.run(
            [*self._words(), "bash", *(["-e", "-o", "pipefail"] if strict else []), "-c", text],
            capture_output=True,
            text=True,
            check=False,
        )

    def beside(self, text: str, log: Path) -> subprocess.Popen[bytes]:
        """Run lines of a shell in it while this program goes on."""
        with log.open("ab") as out:
            return subprocess.Popen(
                [*self._words(), "bash", "-e", "-c", text],
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=out,
                start_new_session=True,
            )

    def _words(self) -> list[str]:
        spaces = ["--mount", "--uts", "--ipc", "--net", "--pid", "--cgroup", "--root", "--wd"]
        clean = ["env", "-i", "HOME=/srv", "TERM=dumb", "LC_ALL=C.UTF-8", f"PATH={SEARCH}"]
        return ["nsenter", "-t", self._init() or "0", *spaces, *clean]

    def bounds(self) -> str:
        """Which bounds of a service systemd can enforce in here."""
        return self.sh("cat /sys/fs/cgroup/cgroup.controllers").stdout.strip()

    def stop(self) -> None:
        """End everything in it."""
        if self._outer is None:
            return
        with suppress(ProcessLookupError, ValueError):
            os.kill(int(self._init()), signal.SIGKILL)
        self._outer.wait(STOP_S)
        self._outer = None
        for place in sorted(self._cgroup.rglob("*/"), reverse=True):
            with suppress(OSError):
                place.rmdir()
        with suppress(OSError):
            self._cgroup.rmdir()
