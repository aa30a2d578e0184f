"""Flags of probes: raising, ending, and the one alert that says them.

A probe has one alert `probe_suspect` at most; it says the gravest flag that stands. When that ends
while another stands, the alert changes its words.
"""

from __future__ import annotations

from controller.run import Run
from controller.sensing import set_back
from controller.sensing.flags import FLAGS, Flag, Trust
from controller.state import ProbeState
from controller.watering.guard import LATCHING
from controller.watering.words import bed_name

GRAVE = (Trust.OUT, Trust.REFUSED, Trust.DOUBTFUL, Trust.NOTED)
ALERT = "probe_suspect"
SWAP_ALERT = "probes_swapped"
WETTER = (
    " It told wetter than the hand: the garden file has this soil as {soil}, and a heavier soil is "
    "full at more. Feel which soil it is; where it is heavier, name that in the file."
)
SWAP_TEXT = (
    "{bed}'s probes may be another bed's, as was found before the garden file changed. It does not "
    "water by itself until somebody has put probes or valves right and clears this."
)


def raise_flag(run: Run, name: str, flag: Flag) -> None:
    """Let a flag stand on a probe; where it stands, only refused readings count on."""
    probe = run.state.probes[name]
    stands = flag in probe.flags
    if not stands or FLAGS[flag].good:
        probe.counts[flag.value] = probe.counts.get(flag.value, 0) + 1
    if stands:
        return
    probe.flags[flag.value] = run.state.at_utc_s
    _settle(run, name, probe)


def end_flag(run: Run, name: str, flag: Flag) -> None:
    """Let a flag end, if it stands."""
    probe = run.state.probes[name]
    if probe.flags.pop(flag.value, None) is not None:
        _settle(run, name, probe)


def good_reading(run: Run, name: str) -> None:
    """A believed reading of a probe with flags: end those that so many in a row end."""
    probe = run.state.probes[name]
    over = [code for code in probe.flags if 0 < FLAGS[Flag(code)].good <= probe.good]
    for code in over:
        del probe.flags[code]
    if over:
        _settle(run, name, probe)


def cleared_by_person(run: Run, name: str) -> bool:
    """Somebody vouches for a probe: its flags that a person may end are over.

    Returns:
        Whether there was such a flag.
    """
    probe = run.state.probes[name]
    over = [code for code in probe.flags if FLAGS[Flag(code)].by_person]
    run.state.care.pop(name, None)
    for code in over:
        del probe.flags[code]
    if over:
        probe.value = probe.theta_m3_m3 = probe.level_m3_m3 = None  # what comes next is the line
        probe.window_m3_m3.clear()
        probe.wild_h, probe.path_m3_m3 = 0, 0.0
        _settle(run, name, probe)
    return bool(over)


def forget_probe(run: Run, name: str) -> None:
    """A probe that the garden file describes anew: nothing it told before is its line."""
    sense = run.senses.get(name)
    if sense is not None:
        run.end_alert(ALERT, sense.bed, name)
        run.end_alert("probe_silent", sense.bed, name)
    run.state.care.pop(name, None)
    run.state.probes[name] = ProbeState()


def forget_gone(run: Run) -> None:
    """After another garden file: no count or alert stays that nobody could end any more.

    A latch on a bed that is gone stays until a person lifts it: the guard looks for its valve.
    """
    state, garden = run.state, run.garden
    for pair in [pair for pair in state.crossed if not set(pair.split("|")) <= run.senses.keys()]:
        del state.crossed[pair]
    swapped = False
    for alert in list(state.alerts.values()):
        where = (alert.bed, alert.valve, alert.probe)
        sense = None if alert.probe is None else run.senses.get(alert.probe)
        lost = alert.probe is not None and (sense is None or sense.bed != alert.bed)
        gone = alert.bed not in {None, *garden.beds} or alert.valve not in {None, *garden.valves}
        if lost or (gone and alert.code not in LATCHING):
            run.end_alert(alert.code, *[part for part in where if part])
            swapped = swapped or alert.code == SWAP_ALERT
            if alert.probe is not None and sense is not None:
                _settle(run, alert.probe, state.probes[alert.probe])
    if swapped:
        held = {run.senses[name].bed for name in run.senses if _is_swapped(run, name)}
        for bed in sorted(held):
            text = SWAP_TEXT.format(bed=bed_name(bed))
            run.raise_alert("probes_swapped", text, bed=bed, person=True)


def _is_swapped(run: Run, name: str) -> bool:
    return Flag.SWAPPED in run.state.probes[name].flags


def gravest(probe: ProbeState) -> Flag | None:
    """The flag that the alert says: by what it costs, a hand's word first, then by age."""
    told = [Flag(code) for code in probe.flags if FLAGS[Flag(code)].alarm]
    return min(told, key=_gravity) if told else None


def _gravity(flag: Flag) -> tuple[int, bool]:
    """Sorts the gravest first; of those that cost the same, what a hand said."""
    return GRAVE.index(FLAGS[flag].trust), flag is not Flag.AGAINST_HAND


def worth_saying(flag: Flag) -> bool:
    """Whether a standing flag is said to people, and not only counted."""
    rule = FLAGS[flag]
    return rule.alarm or not rule.good or rule.trust is Trust.OUT


def _settle(run: Run, name: str, probe: ProbeState) -> None:
    """Bring trust and alert in line with the flags that stand."""
    costs = {FLAGS[Flag(code)].trust for code in probe.flags}
    before = probe.trust
    probe.trust = next((cost for cost in (Trust.OUT, Trust.DOUBTFUL) if cost in costs), "")
    if probe.trust != before:
        run.nudge = True
    sense = run.senses.get(name)
    if sense is None:
        return
    if probe.trust == Trust.OUT != before:
        _left_alone(run, sense.bed)
    flag = gravest(probe)
    key = f"{ALERT}-{sense.bed}-{name}"
    text = "" if flag is None else sentence(run, name, sense.bed, flag)
    standing = run.state.alerts.get(key)
    if standing is not None and standing.text != text:
        run.end_alert(ALERT, sense.bed, name)
    if flag is not None:
        person = FLAGS[flag].by_person
        run.raise_alert("probe_suspect", text, bed=sense.bed, probe=name, person=person)


def _left_alone(run: Run, bed: str) -> None:
    """A bed's last believed probe strayed from one that is out now: that one is to blame."""
    state = run.state
    left = [one for one in run.garden.beds[bed].probes if state.probes[one].trust != Trust.OUT]
    if len(left) == 1 and left[0] in state.care:
        memory = state.care[left[0]]
        memory.set_back_m3_m3, state.water[bed].apart_sd_m3_m3 = set_back.alone_m3_m3(
            memory.set_back_m3_m3, memory.off_m3_m3
        )


def sentence(run: Run, name: str, bed: str, flag: Flag) -> str:
    """What the grower reads of a probe's flag."""
    said = f"Probe {name} in {bed_name(bed)} {FLAGS[flag].sentence}"
    care = run.state.care.get(name)
    if flag is not Flag.AGAINST_HAND or care is None or not care.told_wetter:
        return said
    setting = run.garden.beds[bed]
    soil = setting.soil or f"measured, like {setting.texture}"
    return said + WETTER.format(soil=soil)
