"""Faulty garden files: each is refused in a sentence with file, line, key, found and allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.errors import GardenError
from controller.garden import load_garden

SOUND = """\
[garden]
id = "plot"
latitude = 47.6
longitude = -122.3
elevation_m = 60
timezone = "America/Los_Angeles"

[supply]
flow_l_min = 14.0
meter = "main"

[beds.south]
transplanted = 2026-05-09
plants = 24
spacing_m = 0.6
width_m = 1.2
soil = "loam"
lines = 2
emitters = 48
emitter_l_h = 2.0
valve = "south"
probes = ["south-20"]
lean = 0.5

[beds.wall]
transplanted = 2026-05-09
plants = 12
spacing_m = 0.6
width_m = 1.2
soil = "sandy loam"
emitters = 24
emitter_l_h = 2.0
valve = "wall"
like = "south"

[probes.south-20]
kind = "raw"
depth_cm = 20
calibration = [[2900, 0.04], [1350, 0.42]]

[valves.south]
[valves.wall]
[valves.master]
role = "master"

[meters.main]
litres_per_pulse = 0.1
"""


def refusal(tmp_path: Path, text: str) -> str:
    """What the reader says of this text, line ends kept as written."""
    path = tmp_path / "plot.toml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    with pytest.raises(GardenError) as refused:
        load_garden(path)
    return str(refused.value)


def changed(old: str, new: str) -> str:
    """The sound file with one thing made wrong, and the line where it stands."""
    assert SOUND.count(old) >= 1, old
    return SOUND.replace(old, new, 1)


def test_the_file_that_all_faults_start_from_is_sound(tmp_path: Path) -> None:
    path = tmp_path / "plot.toml"
    path.write_text(SOUND)
    assert list(load_garden(path).beds) == ["south", "wall"]


# old text, new text, line, key, then what the sentence says of found and allowed
# fmt: off
ONE_FAULT = {
    "lean-past-one": ("lean = 0.5", "lean = 1.4", 23, "beds.south.lean", "1.4 is outside 0 to 1"),
    "lean-negative": ("lean = 0.5", "lean = -0.1", 23, "beds.south.lean", "-0.1 is outside 0 to 1"),
    "lean-nan": ("lean = 0.5", "lean = nan", 23, "beds.south.lean", "nan is no finite number"),
    "lean-true": ("lean = 0.5", "lean = true", 23, "beds.south.lean", "true is no number"),
    "flow-inf": ("= 14.0", "= inf", 9, "supply.flow_l_min", "inf is no finite number"),
    "flow-minus-inf": ("= 14.0", "= -inf", 9, "supply.flow_l_min", "-inf is no finite number"),
    "flow-zero": ("= 14.0", "= 0", 9, "supply.flow_l_min", "0 is outside 0.1 to 500 L/min"),
    "flow-text": ("= 14.0", '= "14"', 9, "supply.flow_l_min", "'14' is no number; allowed is 0.1"),
    "flow-date": ("= 14.0", "= 2026-05-09", 9, "supply.flow_l_min", "2026-05-09 is no number"),
    "flow-list": ("= 14.0", "= [14.0]", 9, "supply.flow_l_min", "a list of 1 is no number"),
    "emitters-zero": ("emitters = 48", "emitters = 0", 19, "beds.south.emitters", "1 to 10000"),
    "emitters-negative": ("emitters = 48", "emitters = -48", 19, "beds.south.emitters",
        "-48 is out"),
    "emitters-half": ("emitters = 48", "emitters = 48.5", 19, "beds.south.emitters",
        "48.5 is no whole number"),
    "emitters-huge": ("emitters = 48", "emitters = 0x" + "f" * 400, 19, "beds.south.emitters",
        "a huge whole number"),
    "emitters-above-supply": ("emitters = 48", "emitters = 480", 19, "beds.south.emitters",
        "480 x 2 L/h is 16.0 L/min; allowed is 0 to 12.6 L/min, 0.9 of supply.flow_l_min"),
    "plants-text": ("plants = 24", 'plants = "24"', 14, "beds.south.plants",
        "'24' is no whole number"),
    "plants-absurd": ("plants = 24", "plants = 24000", 14, "beds.south.plants",
        "outside 1 to 2000"),
    "spacing-in-cm": ("spacing_m = 0.6", "spacing_m = 60", 15, "beds.south.spacing_m",
        "0.05 to 5 m"),
    "width-negative": ("width_m = 1.2", "width_m = -1.2", 16, "beds.south.width_m",
        "-1.2 is outside"),
    "soil-unknown": ('soil = "loam"', 'soil = "peat"', 17, "beds.south.soil",
        "'peat' is not sand,"),
    "soil-absent": ('soil = "loam"\n', "", 12, "beds.south.soil",
        "is missing; needed is a soil class, or field_capacity_m3_m3 and wilting_point_m3_m3"),
    "soil-told-twice": ('soil = "loam"', 'soil = "loam"\nfield_capacity_m3_m3 = 0.28', 17,
        "beds.south.soil", "'loam' stands beside"),
    "water-in-per-cent": ('soil = "loam"', "field_capacity_m3_m3 = 28\nwilting_point_m3_m3 = 0.14",
        17, "beds.south.field_capacity_m3_m3", "28 is outside 0.03 to 0.6 m3/m3"),
    "wilting-above-field-capacity": ('soil = "loam"',
        "field_capacity_m3_m3 = 0.28\nwilting_point_m3_m3 = 0.30", 18,
        "beds.south.wilting_point_m3_m3", "0.3 is outside 0.005 to 0.26 m3/m3"),
    "wilting-alone": ('soil = "loam"', "wilting_point_m3_m3 = 0.14", 12,
        "beds.south.field_capacity_m3_m3", "is missing; wilting_point_m3_m3 stands alone"),
    "crop-unknown": ("plants = 24", 'crop = "tomatoe"\nplants = 24', 14, "beds.south.crop",
        "'tomatoe' is none of the crops known here; the nearest is 'tomato'"),
    "crop-number": ("plants = 24", "crop = 3\nplants = 24", 14, "beds.south.crop",
        "3 is not a list"),
    "key-unknown": ("emitters = 48", "emiters = 48", 19, "beds.south.emiters",
        "there is no such key; the nearest is emitters"),
    "key-unknown-far": ("flow_l_min = 14.0", "flow_l_min = 14.0\nzzz = 1", 10, "supply.zzz",
        "there is no such key; known are flow_l_min, pressure_kpa"),
    "table-unknown": ("[supply]", "[suply]", 8, "suply", "the nearest is supply"),
    "table-missing": ('[supply]\nflow_l_min = 14.0\nmeter = "main"\n', "", None, "supply",
        "is missing"),
    "key-missing": ("plants = 24\n", "", 12, "beds.south.plants",
        "is missing; needed is 1 to 2000"),
    "zone-unknown": ("America/Los_Angeles", "America/Los_Angles", 6, "garden.timezone",
        "'America/Los_Angles' is no time zone"),
    "zone-a-path": ("America/Los_Angeles", "../../etc/passwd", 6, "garden.timezone",
        "is no time zone"),
    "latitude-past-pole": ("= 47.6", "= 147.6", 3, "garden.latitude", "147.6 is outside -90 to 90"),
    "id-capital": ('id = "plot"', 'id = "Plot"', 2, "garden.id",
        "'Plot' is not lower-case letters"),
    "id-slash": ('id = "plot"', 'id = "a/b"', 2, "garden.id", "'a/b' is not lower-case letters"),
    "id-empty": ('id = "plot"', 'id = ""', 2, "garden.id", "1 to 40 characters"),
    "name-with-bell": ('id = "plot"', 'id = "plot"\nname = "Plot\\u0007"', 3, "garden.name",
        "'Plot\\x07' holds a control character"),
    "name-with-line-end": ('id = "plot"', 'id = "plot"\nname = "a\\nb"', 3, "garden.name",
        "'a\\nb' holds a control"),
    "name-turning-text-round": ('id = "plot"', 'id = "plot"\nname = "a\\u202Eb"', 3, "garden.name",
        "'a\\u202eb' holds"),
    "name-long": ('id = "plot"', f'id = "plot"\nname = "{"n" * 300}"', 3, "garden.name",
        "300 characters long"),
    "hours-in-words": ('id = "plot"', 'id = "plot"\nhours = "at night"', 3, "garden.hours",
        "'22:00-sunrise'"),
    "hours-past-24": ('id = "plot"', 'id = "plot"\nhours = "25:00-sunrise"', 3, "garden.hours",
        "HH:MM"),
    "hours-of-no-length": ('id = "plot"', 'id = "plot"\nhours = "22:00-22:00"', 3, "garden.hours",
        "ends alike"),
    "frost-lock-no-day": ('id = "plot"', 'id = "plot"\nfrost_lock = ["02-30", "03-31"]', 3,
        "garden.frost_lock[0]", "'02-30' is no day of the year"),
    "frost-lock-one-day": ('id = "plot"', 'id = "plot"\nfrost_lock = ["11-01"]', 3,
        "garden.frost_lock", "a list of 1 is not a list of 2 days"),
    "units-imperial": ('id = "plot"', 'id = "plot"\nunits = "imperial"', 3, "garden.units",
        "not metric or us"),
    "transplanted-text": ("transplanted = 2026-05-09", 'transplanted = "May"', 13,
        "beds.south.transplanted", "'May' is no date; allowed is a date such as 2026-05-09"),
    "transplanted-number": ("transplanted = 2026-05-09", "transplanted = 20260509", 13,
        "beds.south.transplanted", "20260509 is no date"),
    "cleared-before-planting": ("plants = 24", "cleared = 2026-05-01\nplants = 24", 14,
        "beds.south.cleared", "2026-05-01 is before the transplanting on 2026-05-09"),
    "cleared-on-the-day-of-planting": ("plants = 24", "cleared = 2026-05-09\nplants = 24", 14,
        "beds.south.cleared", "2026-05-09 is the day of the transplanting; allowed is a later day"),
    "strip-wider-than-bed": ("lines = 2", "lines = 2\nwetted_width_m = 1.5", 19,
        "beds.south.wetted_width_m", "1.5 is outside 0.1 to 1.2 m"),
    "valve-unknown": ('valve = "south"', 'valve = "suoth"', 21, "beds.south.valve",
        "'suoth' is none of the valves; the nearest is 'south'"),
    "valve-is-the-master": ('valve = "south"', 'valve = "master"', 21, "beds.south.valve",
        "'master' is the master; a bed's valve is needed"),
    "valve-of-two-beds": ('valve = "wall"', 'valve = "south"', 33, "beds.wall.valve",
        "'south' waters bed 'south' too"),
    "probe-unknown": ('probes = ["south-20"]', 'probes = ["south-2"]', 22, "beds.south.probes",
        "'south-2' is none of the probes; the nearest is 'south-20'"),
    "probe-in-two-beds": ('like = "south"', 'probes = ["south-20"]', 34, "beds.wall.probes",
        "'south-20' is listed in bed 'south' already"),
    "probe-twice-in-a-bed": ('["south-20"]', '["south-20", "south-20"]', 22, "beds.south.probes",
        "already"),
    "like-unknown": ('like = "south"', 'like = "s"', 34, "beds.wall.like",
        "'s' is none of the beds"),
    "like-itself": ('like = "south"', 'like = "wall"', 34, "beds.wall.like", "is this bed itself"),
    "like-beside-probes": ("lean = 0.5", 'like = "wall"', 23, "beds.south.like",
        "'wall' stands beside probes"),
    "meter-unknown": ('meter = "main"', 'meter = "mian"', 10, "supply.meter",
        "the nearest is 'main'"),
    "meter-pulse-zero": ("litres_per_pulse = 0.1", "litres_per_pulse = 0.0", 47,
        "meters.main.litres_per_pulse", "0 is outside 0.001 to 100 L"),
    "two-masters": ("[valves.master]", '[valves.second]\nrole = "master"\n[valves.master]', 46,
        "valves.master.role", "'master' is 'second' already; allowed is one"),
    "probe-kind": ('kind = "raw"', 'kind = "percent"', 37, "probes.south-20.kind",
        "not raw, theta_"),
    "probe-calibration-of-per-cent": ("[1350, 0.42]", "[1350, 42]", 39,
        "probes.south-20.calibration[1][1]", "42 is outside 0 to 0.7"),
    "probe-calibration-one-point": (", [1350, 0.42]", "", 39, "probes.south-20.calibration",
        "2 to 20 points"),
    "probe-calibration-turns-back": ("[1350, 0.42]", "[2000, 0.42], [1350, 0.2]", 39,
        "probes.south-20.calibration", "do not rise or fall all the way"),
    "probe-calibration-of-one-raw-value": ("[1350, 0.42]", "[2900, 0.42]", 39,
        "probes.south-20.calibration", "do not rise or fall"),
    "probe-calibration-flat": ("[1350, 0.42]", "[1350, 0.04]", 39, "probes.south-20.calibration",
        "do not rise or fall"),
    "probe-calibration-of-another-kind": ('kind = "raw"', 'kind = "theta_pct"', 39,
        "probes.south-20.calibration", "allowed is kind 'raw'"),
    "probe-pointer": ('kind = "raw"', 'kind = "raw"\nfield = "raw"', 38, "probes.south-20.field",
        "a JSON pointer"),
    "probe-field-and-senml": ('kind = "raw"', 'kind = "raw"\nfield = "/raw"\nsenml = "vwc"', 39,
        "probes.south-20.senml", "'vwc' stands beside field"),
    "probe-topic-wildcard": ('kind = "raw"', 'kind = "raw"\ntopic = "plot/#"', 38,
        "probes.south-20.topic", "without + or #"),
    "topic-taken": ('kind = "raw"', 'kind = "raw"\ntopic = "thirstline/plot/meter/main"', 38,
        "probes.south-20.topic", "is that of meters.main.topic already"),
    "relay-unbounded": ('[valves.master]\nrole = "master"',
        '[valves.relay]\nsay = {topic = "r/1", open = "1", close = "0"}', 44, "valves.relay.say",
        "is a plain relay that nothing bounds"),
    "evidence-without-say": ("[valves.wall]",
        '[valves.wall]\nevidence = {topic = "r", open = "1", closed = "0"}', 43,
        "valves.wall.evidence", "stands without say"),
    "broker-http": ("[supply]", '[broker]\nurl = "http://host:80"\n[supply]', 9, "broker.url",
        "'mqtt://host:port'"),
    "broker-port": ("[supply]", '[broker]\nurl = "mqtt://host:99999"\n[supply]', 9, "broker.url",
        "1 to 65535"),
    "page-no-port": ("[supply]", '[page]\nlisten = "127.0.0.1"\n[supply]', 9, "page.listen",
        "'host:port'"),
    "limit-open-max": ("[supply]", "[limits]\nopen_max_s = 7200\n[supply]", 9, "limits.open_max_s",
        "60 to 5400 s"),
    "limit-zero": ("[supply]", "[limits]\ndose_l = 0\n[supply]", 9, "limits.dose_l",
        "0 is outside 1 to 50000 L"),
    "normals-eleven": ("[supply]", f"[normals]\neto_mm_d = {[1.0] * 11}\n[supply]", 9,
        "normals.eto_mm_d", "a list of 11 is not a list of 12 months"),
    "alarm-no-address": ("[supply]", '[alarm]\nmail = {host = "h", to = ["me"]}\n[supply]', 9,
        "alarm.mail.to[0]", "'me' is not a mail address"),
    "alarm-unknown-key": ("[supply]", '[alarm]\nmail = {hst = "h", to = ["a@b"]}\n[supply]', 9,
        "alarm.mail.hst", "the nearest is host"),
    "bed-name-slash": ("[beds.wall]", '[beds."a/b"]', 25, "beds.'a/b'",
        "the name 'a/b' is not 1 to 40"),
    "probe-name-blank": ("[probes.south-20]", '[probes."south 20"]', 36, "probes.'south 20'",
        "'south 20' is not letters"),
    "beds-no-table": ("[beds.wall]", "[[beds.wall]]", 25, "beds.wall", "a list of 1 is no table"),
    "garden-no-table": ("[garden]", "garden = 3\n[gardn]", 1, "garden", "3 is no table"),
}
# fmt: on


@pytest.mark.hazard("K1")
@pytest.mark.parametrize(
    ("old", "new", "line", "key", "said"), ONE_FAULT.values(), ids=ONE_FAULT.keys()
)
def test_a_fault_is_told_with_file_line_key_found_and_allowed(
    tmp_path: Path, old: str, new: str, line: int | None, key: str, said: str
) -> None:
    whole = refusal(tmp_path, changed(old, new))
    where = "plot.toml" if line is None else f"plot.toml line {line}"
    sentence = next((row for row in whole.splitlines() if row.startswith(f"{where}: {key}: ")), "")
    assert sentence, whole
    assert said in sentence


def test_a_garden_without_beds_is_refused(tmp_path: Path) -> None:
    start, end = SOUND.index("[beds.south]"), SOUND.index("[probes.")
    whole = refusal(tmp_path, SOUND[:start] + SOUND[end:])
    assert whole == "plot.toml: beds: is missing; needed is 1 to 32 tables [beds.NAME]"


def test_all_faults_are_told_at_once_in_the_order_of_the_file(tmp_path: Path) -> None:
    text = (
        SOUND.replace("lean = 0.5", "lean = 7").replace("= 14.0", "= 0").replace("= 47.6", "= 99")
    )
    rows = refusal(tmp_path, text).splitlines()
    assert [row.split(": ")[1] for row in rows] == [
        "garden.latitude",
        "supply.flow_l_min",
        "beds.south.lean",
    ]


def test_a_key_inside_many_lines_of_text_is_not_taken_for_the_key(tmp_path: Path) -> None:
    text = 'note = """\n[beds.south]\nlean = 9\n"""\n' + SOUND.replace("lean = 0.5", "lean = 9")
    rows = refusal(tmp_path, text).splitlines()
    assert rows[0].startswith("plot.toml line 1: note: there is no such key")
    assert rows[1].startswith("plot.toml line 27: beds.south.lean: 9 is outside 0 to 1")


def test_a_hundred_faults_are_counted_rather_than_told(tmp_path: Path) -> None:
    rows = refusal(tmp_path, "".join(f"k{n} = 1\n" for n in range(100)) + SOUND).splitlines()
    assert len(rows) == 41
    assert rows[-1] == "plot.toml: and 60 faults more"


# bytes of the whole file, what is said
WHOLE_FILE = {
    "empty": (b"", "plot.toml: is empty"),
    "blank": (b" \n\t\n", "plot.toml: is empty"),
    "byte-order-mark": (
        b"\xef\xbb\xbf" + SOUND.encode(),
        "plot.toml line 1: begins with a byte-order",
    ),
    "utf-16": (SOUND.encode("utf-16"), "plot.toml line 1: begins with a byte-order mark"),
    "latin-1": (
        SOUND.replace('"plot"', '"pl\xf6t"').encode("latin-1"),
        "plot.toml line 2: byte 0xf6 is not UTF-8",
    ),
    "nul-byte": (SOUND.encode() + b"\0", "plot.toml line 48: holds a NUL byte"),
    "over-1-mib": (SOUND.encode() + b"#" * (1 << 20), "is larger than the 1048576 bytes allowed"),
    "syntax": (b"[garden]\nid = = 3\n", "plot.toml line 2, column 6: is no TOML: Invalid value"),
    "unclosed-table": (b"[garden\nid = 3\n", "plot.toml line 1, column 8: is no TOML"),
    "cut-short": (b'[garden]\nid = "plot', "plot.toml line 2: is no TOML: Unterminated string"),
    "table-twice": (
        b"[garden]\n[garden]\n",
        "plot.toml line 2, column 8: is no TOML: Cannot declare",
    ),
    "key-twice": (b"a = 1\na = 2\n", "plot.toml line 2, column 6: is no TOML: Cannot overwrite"),
    "digits-without-end": (b"a = " + b"9" * 5000, "plot.toml: is no TOML: Exceeds the limit"),
    "nested-without-end": (
        b"a = " + b"[" * 20_000,
        "plot.toml: lists or tables are nested too deeply",
    ),
    "json": (b'{"garden": {}}', "plot.toml line 1, column 1: is no TOML"),
}


@pytest.mark.parametrize(("raw", "said"), WHOLE_FILE.values(), ids=WHOLE_FILE.keys())
def test_a_file_that_is_no_garden_at_all_is_refused_in_one_sentence(
    tmp_path: Path, raw: bytes, said: str
) -> None:
    path = tmp_path / "plot.toml"
    path.write_bytes(raw)
    with pytest.raises(GardenError) as refused:
        load_garden(path)
    assert len(refused.value.faults) == 1
    assert said in refused.value.faults[0]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        pytest.param("none.toml", "none.toml: there is no such file", id="missing"),
        pytest.param(".", "is a folder; a garden file is needed", id="folder"),
        pytest.param("none/none.toml", "there is no such file", id="missing-folder"),
        pytest.param("a\0b", "a\\x00b: cannot be read: its name holds a NUL", id="nul-in-name"),
        pytest.param("n" * 300, "cannot be read: File name too long", id="long-name"),
    ],
)
def test_a_path_that_is_no_file_is_refused(tmp_path: Path, name: str, said: str) -> None:
    with pytest.raises(GardenError) as refused:
        load_garden(tmp_path / name)
    assert said in str(refused.value)


def test_a_very_large_file_is_refused_without_reading_it_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "plot.toml"
    with path.open("wb") as file:
        file.truncate(50 << 20)
    taken: list[int] = []
    opened = Path.open

    def watched(self: Path, mode: str) -> object:
        file = opened(self, mode)
        read = file.read

        class Watched:
            def __enter__(self) -> Watched:
                return self

            def __exit__(self, *gone: object) -> None:
                file.close()

            def read(self, size: int) -> bytes:
                raw = bytes(read(size))
                taken.append(len(raw))
                return raw

        return Watched()

    monkeypatch.setattr(Path, "open", watched)
    with pytest.raises(GardenError, match="is larger than the 1048576 bytes allowed"):
        load_garden(path)
    assert sum(taken) <= (1 << 20) + 1
