import os
from pathlib import Path

import pytest

from controller.datafolder import DaemonAddress, DataFolder, default_data_dir
from controller.errors import LockedError, StoreError


@pytest.mark.parametrize(
    ("environ", "place"),
    [
        pytest.param(
            {"STATE_DIRECTORY": "/var/lib/t", "XDG_STATE_HOME": "/s", "HOME": "/home/g"},
            "/var/lib/t",
            id="service",
        ),
        pytest.param({"STATE_DIRECTORY": "/var/lib/t:/var/lib/u"}, "/var/lib/t", id="first-of-two"),
        pytest.param(
            {"XDG_STATE_HOME": "/s", "HOME": "/home/g"}, "/s/thirstline/plot", id="state-home"
        ),
        pytest.param(
            {"XDG_STATE_HOME": "s", "HOME": "/home/g"},
            "/home/g/.local/state/thirstline/plot",
            id="relative-state-home-is-ignored",
        ),
        pytest.param({"HOME": "/home/g"}, "/home/g/.local/state/thirstline/plot", id="home"),
    ],
)
def test_default_place_follows_the_environment(environ: dict[str, str], place: str) -> None:
    assert default_data_dir("plot", environ) == Path(place)


def test_folder_is_made_for_its_owner_only(tmp_path: Path) -> None:
    DataFolder(tmp_path / "a" / "b")
    assert (tmp_path / "a" / "b").stat().st_mode & 0o777 == 0o700


def test_a_file_in_its_place_is_a_store_error(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("x")
    with pytest.raises(StoreError, match="cannot make the data folder"):
        DataFolder(tmp_path / "a")


@pytest.mark.hazard("N1")
def test_token_is_made_once_and_is_for_its_owner_only(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path)
    token = folder.token()
    path = tmp_path / "token"
    assert len(token) >= 43  # 32 bytes in base64
    assert path.read_text() == token + "\n"
    assert path.stat().st_mode & 0o777 == 0o600
    assert DataFolder(tmp_path).token() == token


def test_a_token_that_others_can_read_is_closed_to_them(tmp_path: Path) -> None:
    path = tmp_path / "token"
    path.write_text("abc\n")
    path.chmod(0o644)
    assert DataFolder(tmp_path).token() == "abc"
    assert path.stat().st_mode & 0o777 == 0o600


def test_an_empty_token_file_is_no_token(tmp_path: Path) -> None:
    (tmp_path / "token").write_text("\n")
    assert DataFolder(tmp_path).token()


def test_two_folders_have_two_tokens(tmp_path: Path) -> None:
    assert DataFolder(tmp_path / "a").token() != DataFolder(tmp_path / "b").token()


def test_daemon_is_found_until_it_says_goodbye(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path)
    assert folder.read_daemon_json() is None
    folder.write_daemon_json("http://127.0.0.1:8470", 4711)
    assert folder.read_daemon_json() == DaemonAddress(url="http://127.0.0.1:8470", pid=4711)
    assert (tmp_path / "daemon.json").read_text() == '{"url":"http://127.0.0.1:8470","pid":4711}\n'
    folder.remove_daemon_json()
    folder.remove_daemon_json()
    assert folder.read_daemon_json() is None


@pytest.mark.parametrize("text", ["", "{", "[]", '{"url": "x"}', '{"url": "x", "pid": "7"}'])
def test_a_mangled_address_is_no_address(tmp_path: Path, text: str) -> None:
    (tmp_path / "daemon.json").write_text(text)
    assert DataFolder(tmp_path).read_daemon_json() is None


def test_second_holder_is_told_who_holds_the_folder(tmp_path: Path) -> None:
    first, second = DataFolder(tmp_path), DataFolder(tmp_path)
    first.lock()
    first.lock()
    with pytest.raises(LockedError, match=f"process {os.getpid()} holds this data folder"):
        second.lock()
    first.unlock()
    second.lock()
    second.unlock()


def test_low_space_is_said_and_enough_is_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = DataFolder(tmp_path)

    def free(mebibytes: float) -> None:
        fields = (4096, 4096, 10**6, 0, int(mebibytes * 256), 0, 0, 0, 0, 255)
        monkeypatch.setattr(os, "statvfs", lambda _: os.statvfs_result(fields))

    free(16)
    assert folder.low_space_caution() is None
    free(15.5)
    assert folder.low_space_caution() == (
        f"{tmp_path}: 15.5 MiB free, the data folder needs 16 MiB"
    )


def test_what_is_set_aside_keeps_its_log_and_never_covers_another(tmp_path: Path) -> None:
    folder = DataFolder(tmp_path)
    assert folder.set_database_aside() is None
    names = []
    for text in ("one", "two"):
        folder.database.write_text(text)
        os.utime(folder.database, (1_783_000_000, 1_783_000_000))
        (tmp_path / "thirstline.db-wal").write_text(f"log of {text}")
        (tmp_path / "thirstline.db-shm").write_text("")
        aside = folder.set_database_aside()
        assert aside is not None
        assert aside.read_text() == text
        assert aside.with_name(aside.name + "-wal").read_text() == f"log of {text}"
        names.append(aside.name)
    assert names == ["thirstline.db.bad-20260702T134640Z", "thirstline.db.bad-20260702T134640Z.2"]
    assert len(list(tmp_path.iterdir())) == 4
