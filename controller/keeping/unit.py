"""The service's files: what systemd is told, and what a user and a backup timer take. Pure text.

Settings and their reasons: man systemd.service(5), systemd.exec(5); `systemd-analyze security`
scores them, and a test holds the score. Left out: the hardware watchdog (`RuntimeWatchdogSec`),
which is the whole system's and stands in hardware_notes/board.md.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

UNIT = "etc/systemd/system/thirstline.service"
BACKUP_UNIT = "etc/systemd/system/thirstline-backup.service"
BACKUP_TIMER = "etc/systemd/system/thirstline-backup.timer"
USER_FILE = "etc/sysusers.d/thirstline.conf"
JOURNAL_FILE = "etc/systemd/journald.conf.d/thirstline.conf"

FENCE = """\
UMask=0077
NoNewPrivileges=true
CapabilityBoundingSet=
AmbientCapabilities=
ProtectSystem=strict
ProtectHome=true
PrivateTmp=true
PrivateDevices=true
PrivateUsers=true
ProtectKernelTunables=true
ProtectKernelModules=true
ProtectKernelLogs=true
ProtectControlGroups=true
ProtectClock=true
ProtectHostname=true
ProtectProc=invisible
ProcSubset=pid
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX
RestrictNamespaces=true
RestrictRealtime=true
RestrictSUIDSGID=true
LockPersonality=true
MemoryDenyWriteExecute=true
RemoveIPC=true
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallFilter=~@privileged @resources
SystemCallErrorNumber=EPERM
DevicePolicy=closed
MemoryMax=256M
TasksMax=64
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """What the service's files are made of.

    Attributes:
        command: the program, an absolute path.
        garden_file: an absolute path.
        name: the plot's, for people.
        user: whom it runs as.
        state: the folder below `/var/lib`.
        allow: networks that it may speak with besides this machine; None: all.
        backups: where the timer puts backups, an absolute path.
        keep: how many stay.
    """

    command: str
    garden_file: str
    name: str
    user: str
    state: str
    allow: tuple[str, ...] | None
    backups: str
    keep: int

    @property
    def data(self) -> str:
        """The data folder."""
        return f"/var/lib/{self.state}"


def service_files(service: Service) -> Mapping[str, str]:
    """Every file by its path below the root."""
    return {
        UNIT: _unit(service),
        BACKUP_UNIT: _backup_unit(service),
        BACKUP_TIMER: _timer(service),
        USER_FILE: _user(service),
        JOURNAL_FILE: _journal(),
    }


def _unit(service: Service) -> str:
    command, file = quoted(service.command), quoted(service.garden_file)
    return f"""\
[Unit]
Description=Thirstline keeps {_plain(service.name)}
After=network.target mosquitto.service time-set.target
StartLimitIntervalSec=0

[Service]
Type=notify
NotifyAccess=main
User={service.user}
# The fence hides the kernel's boot id, by which time is trusted within a boot.
Environment=THIRSTLINE_BOOT_ID=%b
# One heap for all threads: each of its own would keep what it once needed.
Environment=MALLOC_ARENA_MAX=1
ExecStart={command} run {file} --data {quoted(service.data)}
ExecReload=/bin/kill -HUP $MAINPID
ExecStopPost={command} close-all {file}
WatchdogSec=20
Restart=always
RestartSec=5
TimeoutStartSec=90
TimeoutStopSec=20
StateDirectory={service.state}
StateDirectoryMode=0700
LogRateLimitIntervalSec=60
LogRateLimitBurst=200
{FENCE}{_network(service)}
[Install]
WantedBy=multi-user.target
"""


def _backup_unit(service: Service) -> str:
    outside = not service.backups.startswith(f"{service.data}/")
    # the sign: a stick that is not there leaves a failed backup, never a failed start of the unit
    writes = f"ReadWritePaths=-{quoted(service.backups)}\n" if outside else ""
    return f"""\
[Unit]
Description=A backup of the record of {_plain(service.name)}

[Service]
Type=oneshot
User={service.user}
ExecStart={quoted(service.command)} backup {quoted(service.backups)} \
--data {quoted(service.data)} --keep {service.keep}
StateDirectory={service.state}
StateDirectoryMode=0700
Nice=19
IOSchedulingClass=idle
{writes}{FENCE}IPAddressDeny=any
IPAddressAllow=localhost
"""


def _timer(service: Service) -> str:
    return f"""\
[Unit]
Description=Each day at noon, when no water runs: a backup of {_plain(service.name)}

[Timer]
OnCalendar=*-*-* 12:00:00
RandomizedDelaySec=600
Persistent=true

[Install]
WantedBy=timers.target
"""


def _user(service: Service) -> str:
    return f'u {service.user} - "Keeps the garden" {service.data}\n'


def _journal() -> str:
    return """\
# The journal of the board stays small: a card has to last for years.
[Journal]
SystemMaxUse=64M
RuntimeMaxUse=16M
MaxRetentionSec=3month
"""


def _network(service: Service) -> str:
    if service.allow is None:
        return ""
    allowed = " ".join(["localhost", *service.allow])
    return f"IPAddressDeny=any\nIPAddressAllow={allowed}\n"


def quoted(word: str) -> str:
    """A word as a unit's command line takes it: `%` and `$` as they are, blanks within quotes."""
    safe = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%").replace("$", "$$")
    return safe if re.fullmatch(r"[A-Za-z0-9_./:@+,=-]+", safe) else f'"{safe}"'


def _plain(name: str) -> str:
    """A name as a description takes it: one line, no specifiers."""
    return " ".join(name.replace("%", "%%").split())[:80]
