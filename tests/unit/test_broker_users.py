"""Who may say what on the broker: each node its own words, the controller alone opens valves."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from api.cli import main
from controller.errors import UsageError
from controller.garden import Garden, load_garden
from controller.keeping.broker_users import User, access_list, hashed, users_of
from sim.examples import find_garden

HOLLIN = load_garden(find_garden("hollin-lane"))


def by_name(garden: Garden, *together: tuple[str, ...]) -> dict[str, User]:
    return {user.name: user for user in users_of(garden, together)}


@pytest.mark.hazard("B9")
def test_only_the_controller_may_write_what_opens_or_closes_a_valve() -> None:
    users = by_name(HOLLIN)
    commands = {HOLLIN.topic(kind, v) for v in HOLLIN.valves for kind in ("lease", "close")}  # type: ignore[arg-type]
    assert commands <= set(users["thirstline"].writes)
    for name, user in users.items():
        if name != "thirstline":
            assert not commands & set(user.writes), name
            assert not set(user.writes) & {HOLLIN.topic("canary"), HOLLIN.topic("alert")}, name


def test_every_word_has_exactly_one_writer() -> None:
    users = by_name(HOLLIN)
    words = [topic for user in users.values() for topic in user.writes]
    assert len(words) == len(set(words))
    assert {HOLLIN.topic("probe", p) for p in HOLLIN.probes} <= set(words)
    assert set(users["thirstline"].reads) >= {HOLLIN.topic("state", v) for v in HOLLIN.valves}
    assert users["valve-south"].reads == (
        "thirstline/hollin-lane/valve/south/lease",
        "thirstline/hollin-lane/valve/south/close",
    )


def test_devices_that_share_a_topic_or_a_box_are_one_user() -> None:
    assert by_name(HOLLIN)["probe-south-20"].what == ("probe-south-20", "probe-south-40")
    users = by_name(HOLLIN, ("valve-south", "probe-south-40"))
    assert users["probe-south-20"].what == ("probe-south-20", "probe-south-40", "valve-south")
    assert "valve-south" not in users
    assert HOLLIN.topic("lease", "south") in users["probe-south-20"].reads


def test_virtual_nodes_that_share_one_connection_are_one_user() -> None:
    users = by_name(HOLLIN, ("all",))
    assert set(users) == {"thirstline", "meter-main", "outlook", "reader"}
    apart = by_name(HOLLIN)
    nodes = set(apart) - {"thirstline", "outlook", "reader"}
    assert set(users["meter-main"].writes) == {word for n in nodes for word in apart[n].writes}
    assert HOLLIN.topic("lease", "south") not in users["meter-main"].writes


def test_a_device_that_is_not_there_is_refused_by_name() -> None:
    with pytest.raises(UsageError, match="there is no such device"):
        users_of(HOLLIN, [("valve-sooth",)])


def test_a_user_of_the_controller_that_is_a_nodes_is_refused() -> None:
    broker = HOLLIN.broker.model_copy(update={"username": "valve-south"})
    with pytest.raises(UsageError, match="choose another"):
        users_of(HOLLIN.model_copy(update={"broker": broker}))


def test_the_list_lets_nobody_in_without_a_name() -> None:
    text = access_list(users_of(HOLLIN))
    before, _, _ = text.partition("user ")
    assert "topic" not in before  # what stands before the first user would hold for strangers
    assert "topic readwrite thirstline/hollin-lane/controller/canary" in text
    assert "#" not in "".join(line for line in text.splitlines() if line.startswith("topic"))


def test_a_password_is_hashed_as_the_broker_reads_it() -> None:
    """Worked apart: PBKDF2-HMAC-SHA512 of `secret` with twelve zero bytes, 1000 rounds."""
    line = hashed("me", "secret", bytes(12))
    name, _, rest = line.partition(":")
    assert (name, rest.split("$")[1:4]) == ("me", ["7", "1000", "AAAAAAAAAAAAAAAA"])
    assert line != hashed("me", "secret", bytes(11) + b"\1")
    assert "secret" not in line


# -- the files


def config(out: Path, *more: str, garden: str = "hollin-lane") -> Result:
    return CliRunner().invoke(main, ["broker-config", garden, "--out", str(out), *more])


def test_the_files_are_for_their_owner_and_hold_no_password_in_clear_but_two(
    tmp_path: Path,
) -> None:
    said = config(tmp_path / "b", "--lan", "192.168.1.10", "--json")
    assert said.exit_code == 0, said.output
    out = tmp_path / "b"
    for path in out.iterdir():
        assert path.stat().st_mode & 0o077 == 0, path
    clear = dict(
        line.split(" ") for line in (out / "passwords-for-the-nodes.txt").read_text().splitlines()
    )
    told = json.loads(said.stdout)
    assert set(clear) | {"thirstline"} == {user["name"] for user in told["users"]}
    own = (out / "broker.pass").read_text().strip()
    for word in (own, *(word.strip() for word in clear.values())):
        assert len(word) >= 20
        for name in ("thirstline.conf", "thirstline.acl", "thirstline.passwords"):
            assert word not in (out / name).read_text()
        assert word not in said.output
    conf = (out / "thirstline.conf").read_text()
    assert "listener 1883 127.0.0.1\nlistener 1883 192.168.1.10\n" in conf
    for line in ("allow_anonymous false", "persistence false", "message_size_limit 4096"):
        assert line in conf


def test_run_again_it_keeps_the_passwords_that_are_there(tmp_path: Path) -> None:
    out = tmp_path / "b"
    config(out)
    before = (out / "thirstline.passwords").read_text()
    (out / "passwords-for-the-nodes.txt").unlink()  # typed in, deleted
    text = find_garden("hollin-lane").read_text().replace("[valves.hedge]", "[valves.fence]")
    garden = tmp_path / "garden.toml"
    garden.write_text(text.replace('valve = "hedge"', 'valve = "fence"'))
    again = config(out, "--json", garden=str(garden))
    assert json.loads(again.stdout)["new_passwords"] == ["valve-fence"]
    after = (out / "thirstline.passwords").read_text()
    kept = [line for line in before.splitlines() if not line.startswith("valve-hedge:")]
    assert set(kept) <= set(after.splitlines())
    assert "valve-hedge" not in after
    assert (out / "passwords-for-the-nodes.txt").read_text().split(" ")[0] == "valve-fence"


def test_a_builtin_broker_has_no_users(tmp_path: Path) -> None:
    text = find_garden("hollin-lane").read_text()
    garden = tmp_path / "garden.toml"
    garden.write_text(text.replace("mqtt://127.0.0.1:1883", "builtin"))
    said = config(tmp_path / "b", garden=str(garden))
    assert said.exit_code == 1
    assert "has no users" in said.output
