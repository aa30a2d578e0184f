"""Every judgement that a probe can get: what raises it, what ends it, what the grower reads.

One table, `FLAGS`. A flag is a code that stands in a probe's state until what ends it happens; its
sentence is said by the alert `probe_suspect` and by `why`. `trust` says what the flag costs:

- `noted`: nothing;
- `refused`: the reading is not used, the probe goes on with its others;
- `doubtful`: the probe's readings count, at a lower weight;
- `out`: nothing that the probe says is used while the flag stands.

Sources: the list of hazards and the rules for a live controller are this project's own design; the
hour-level names follow Dorigo et al. 2013, Vadose Zone J. 12(3), table 1.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum


class Trust(StrEnum):
    """What a flag costs its probe."""

    NOTED = "noted"
    REFUSED = "refused"
    DOUBTFUL = "doubtful"
    OUT = "out"


class Flag(StrEnum):
    """What can be wrong with a probe or with one of its readings."""

    OUT_OF_RANGE = "out_of_range"
    RAIL_LOW = "rail_low"
    RAIL_HIGH = "rail_high"
    UNCALIBRATED = "uncalibrated"
    SOIL_TEMPERATURE = "soil_temperature"
    FROZEN_SOIL = "frozen_soil"
    UNIT_SLIP = "unit_slip"
    SPIKE = "spike"
    JUMP = "jump"
    DROP = "drop"
    NOISE = "noise"
    ERRATIC = "erratic"
    STUCK = "stuck"
    SATURATED_PLATEAU = "saturated_plateau"
    FROZEN = "frozen"
    NOT_DRYING = "not_drying"
    WET_UNSEEN = "wet_unseen"
    NO_ANSWER_ONCE = "no_answer_once"
    QUARANTINED = "quarantined"
    DRIFT = "drift"
    DISAGREEMENT = "disagreement"
    AGAINST_HAND = "against_hand"
    SWAPPED = "swapped"
    RISE_UNEXPLAINED = "rise_unexplained"
    STALE = "stale"
    RETAINED = "retained"
    OUT_OF_ORDER = "out_of_order"
    DUPLICATE = "duplicate"
    FUTURE_DATED = "future_dated"
    VALVE_EDGE = "valve_edge"
    BROWN_OUT = "brown_out"
    BATTERY_FADING = "battery_fading"


@dataclass(frozen=True, slots=True, kw_only=True)
class FlagRule:
    """One flag in words.

    `trust` is what it costs; `alarm` whether it becomes the alert `probe_suspect`, else it is only
    counted and shown; `sentence` is what the grower reads, said behind the probe's name. `good` is
    how many readings in a row without fault end it, 0 where something else does; `by_person`
    whether clearing the alert ends it.
    """

    raised_by: str
    ends_with: str
    sentence: str
    trust: Trust
    alarm: bool = True
    good: int = 0
    by_person: bool = False


_REFUSED, _DOUBTFUL, _OUT = Trust.REFUSED, Trust.DOUBTFUL, Trust.OUT

FLAGS: Mapping[Flag, FlagRule] = {
    Flag.OUT_OF_RANGE: FlagRule(
        raised_by="a water content below 0 or above the soil's pores + 0.05 m3/m3",
        ends_with="three readings in a row inside that range",
        sentence="tells a water content that no soil has. Look at its unit and its calibration.",
        trust=_REFUSED,
        good=3,
    ),
    Flag.RAIL_LOW: FlagRule(
        raised_by="a value at the dry end of what the probe can tell: counts past the dry end of "
        "the calibration by more than a tenth of it, or more than 35 kOhm",
        ends_with="three readings in a row inside the range",
        sentence="reads like a cut cable (open circuit). Look at its cable and its plug, and "
        "whether it still sits in the soil.",
        trust=_REFUSED,
        good=3,
    ),
    Flag.RAIL_HIGH: FlagRule(
        raised_by="a value at the wet end of what the probe can tell: counts past the wet end of "
        "the calibration by more than a tenth of it, or less than 0.1 kOhm",
        ends_with="three readings in a row inside the range",
        sentence="reads like a short circuit. Look for water in its joint or plug.",
        trust=_REFUSED,
        good=3,
    ),
    Flag.UNCALIBRATED: FlagRule(
        raised_by="bare counts without calibration points, before two dry spells were seen",
        ends_with="a second dry spell, or points in the garden file",
        sentence="has no calibration: two dry spells teach it. Two weighed points in the garden "
        "file are quicker.",
        trust=_REFUSED,
        alarm=False,
    ),
    Flag.SOIL_TEMPERATURE: FlagRule(
        raised_by="a soil temperature below -5 or above 60 °C told with the reading",
        ends_with="three readings in a row with a possible soil temperature, or with none",
        sentence="tells a soil temperature that cannot be. Look at its cable.",
        trust=_REFUSED,
        good=3,
    ),
    Flag.FROZEN_SOIL: FlagRule(
        raised_by="a soil temperature below 0 °C told with the reading",
        ends_with="three readings in a row at 0 °C or above",
        sentence="sits in frozen soil: ice reads like dry soil, so it is not asked until the "
        "soil has thawed.",
        trust=_REFUSED,
        good=3,
    ),
    Flag.UNIT_SLIP: FlagRule(
        raised_by="a step of about x 100, / 100, or of sign against the probe's own last hours",
        ends_with="three readings in a row in the old unit, or a person who clears the alert",
        sentence="speaks in another unit than before (a step of about a hundred, or a changed "
        "sign). Look at its node's settings; it is not used until the old unit is back or "
        "somebody clears this.",
        trust=_OUT,
        good=3,
        by_person=True,
    ),
    Flag.SPIKE: FlagRule(
        raised_by="a reading out of line with the last seven that no water explains",
        ends_with="the next reading in line",
        sentence="jumped once and came back. A loose plug does that; so does a pump beside its "
        "cable.",
        trust=_REFUSED,
        alarm=False,
        good=1,
    ),
    Flag.JUMP: FlagRule(
        raised_by="a rise of more than 0.06 m3/m3 in an hour without a dose, rain or water told",
        ends_with="six hours at the new level, the old level again, or water that somebody tells",
        sentence="jumped up with no water to cause it. Look whether it was moved, or whether "
        "somebody watered.",
        trust=_DOUBTFUL,
    ),
    Flag.DROP: FlagRule(
        raised_by="a fall of more than 0.02 m3/m3 in an hour, twelve hours or more after water, or "
        "of more than 0.06 m3/m3 in a day, a day and a half after it",
        ends_with="the old level again, an answer to water, or a person who clears the alert",
        sentence="fell faster than soil dries. Look whether it was pulled out or has lost touch "
        "with the soil.",
        trust=_OUT,
        by_person=True,
    ),
    Flag.NOISE: FlagRule(
        raised_by="three hours in a row with a spike, or with readings that go up and down by more "
        "than 3 % of the span",
        ends_with="six calm hours in a row",
        sentence="is restless. Look at its cable and its plug, and keep it away from pump and "
        "valve wires.",
        trust=Trust.NOTED,
    ),
    Flag.ERRATIC: FlagRule(
        raised_by="three hours whose readings lie more than 0.03 m3/m3 from their own middle, or "
        "with more spikes than believed readings; or hours that go up and down by more than "
        "0.45 m3/m3 in about a day",
        ends_with="six calm hours in a row and less than 0.25 m3/m3 of ups and downs, or a person "
        "who clears the alert",
        sentence="goes up and down as no soil does and is not asked. Look at its cable, its plug "
        "and its node.",
        trust=_OUT,
        by_person=True,
    ),
    Flag.STUCK: FlagRule(
        raised_by="no change beyond one digit for 24 h with daylight and use, while its peers "
        "moved; for a probe that stood still so long before and came back, half as long again",
        ends_with="a change beyond one digit",
        sentence="has told one and the same value for a day. Restart its node; look at its cable.",
        trust=_OUT,
    ),
    Flag.SATURATED_PLATEAU: FlagRule(
        raised_by="twelve hours flat at the highest level it ever told, more than half of the "
        "pores that drain filled, after a fast rise",
        ends_with="a fall from that level",
        sentence="stands in water, or says so. Look whether the bed is flooded there, or whether "
        "water runs down the probe's hole.",
        trust=_DOUBTFUL,
    ),
    Flag.FROZEN: FlagRule(
        raised_by="small movements about one value that no dose has moved; two days of them while "
        "more water came than the ground down to the probe can hold; a day of them with less than "
        "half of its own usual trembling; standing while its bed and its peers dried and were "
        "watered",
        ends_with="an answer to a dose, or a person who clears the alert",
        sentence="only trembles about one value. Look whether it sits in a hollow or its node "
        "repeats itself.",
        trust=_OUT,
        by_person=True,
    ),
    Flag.NOT_DRYING: FlagRule(
        raised_by="all of its bed's probes that speak take back more than 0.65 of what the bed "
        "uses by the weather, until that comes to 10 mm beyond it (to 0.15 of the available "
        "water where that is more; twice that where one tells bare counts), with a gauge that "
        "tells of rain",
        ends_with="an answer to a dose, a feel of the soil that agrees, or a person who clears "
        "the alert; after these last two it takes twice as much",
        sentence="has told of wet soil through days that should have dried it, and no probe of its "
        "bed told otherwise. It is not asked until a watering moves it. Feel the soil there and "
        "tell `soil`, and look whether its node repeats itself.",
        trust=_OUT,
        by_person=True,
    ),
    Flag.WET_UNSEEN: FlagRule(
        raised_by="the same, twice as far, while no gauge tells of rain",
        ends_with="an answer to a dose, a feel of the soil that agrees, drying, or a person who "
        "clears the alert",
        sentence="has told of wet soil through days that should have dried it, and no gauge tells "
        "whether it rained. If it did not, feel the soil there and tell `soil`: its node may "
        "repeat itself.",
        trust=_DOUBTFUL,
        by_person=True,
    ),
    Flag.NO_ANSWER_ONCE: FlagRule(
        raised_by="one dose that did not move it in its time",
        ends_with="an answer to a dose",
        sentence="did not feel the last watering. Look whether the drip line by it drips.",
        trust=_DOUBTFUL,
        alarm=False,
    ),
    Flag.QUARANTINED: FlagRule(
        raised_by="two doses one after the other that did not move it, or more water in two days "
        "than the ground down to it holds while it tells the dry half",
        ends_with="an answer to a dose, or a person who clears the alert",
        sentence="felt neither of the last two waterings and is not asked any more. Press the "
        "soil to it, look at its cable, and whether its drip line drips.",
        trust=_OUT,
        by_person=True,
    ),
    Flag.DRIFT: FlagRule(
        raised_by="five days 0.018 m3/m3 off its usual way apart from its peers, longer where it "
        "is less; both of two, unless the bed's books are sure which",
        ends_with="two days inside the band, or a new calibration",
        sentence="has been drifting away from the others for days. Calibrate it anew, or put it "
        "in again.",
        trust=_DOUBTFUL,
    ),
    Flag.DISAGREEMENT: FlagRule(
        raised_by="a bed's probes that tell apart by more than they can be wrong by",
        ends_with="probes that agree again",
        sentence="does not agree with the other probes of its bed. Feel the soil by it and tell "
        "`soil`.",
        trust=_DOUBTFUL,
    ),
    Flag.AGAINST_HAND: FlagRule(
        raised_by="two feels of the soil beside it, one after the other and six hours or more "
        "apart, of which it tells the other side by more than a feel can be wrong by; or the same "
        "at another depth, about as the one so doubted tells it",
        ends_with="a feel that it agrees with, or a person who clears the alert",
        sentence="told otherwise than a hand in the soil, twice. The hand counts; look whether the "
        "probe has lost touch with the soil.",
        trust=_DOUBTFUL,
        by_person=True,
    ),
    Flag.SWAPPED: FlagRule(
        raised_by="doses to its bed that move another bed's probe instead, or another bed's probe "
        "and it that exchange their levels within two hours while both beds are dry",
        ends_with="a dose that its own bed's probes answer to, or a person who clears the alert",
        sentence="answers when another bed is watered. Look whether two probes or two valves are "
        "swapped.",
        trust=_OUT,
        by_person=True,
    ),
    Flag.RISE_UNEXPLAINED: FlagRule(
        raised_by="a rise without a dose or rain",
        ends_with="a day without another one",
        sentence="got wetter without our water or rain. Did somebody water? If not, look for a "
        "leak there.",
        trust=_DOUBTFUL,
    ),
    Flag.STALE: FlagRule(
        raised_by="no reading for three of its intervals, at least 15 minutes",
        ends_with="any reading of it",
        sentence="is silent. Look at its battery and cable.",
        trust=_OUT,
        alarm=False,
        good=1,
    ),
    Flag.RETAINED: FlagRule(
        raised_by="a message that the broker kept from before: of unknown age",
        ends_with="the next reading that is sent live",
        sentence="left a kept message on the broker. Switch `retain` off at its node.",
        trust=_REFUSED,
        alarm=False,
        good=1,
    ),
    Flag.OUT_OF_ORDER: FlagRule(
        raised_by="a sequence number below one already heard in this boot of its node",
        ends_with="the next reading in order",
        sentence="sends old readings late. A weak radio does that.",
        trust=_REFUSED,
        alarm=False,
        good=1,
    ),
    Flag.DUPLICATE: FlagRule(
        raised_by="a sequence number already heard in this boot of its node",
        ends_with="the next reading in order",
        sentence="sends readings twice. That does no harm.",
        trust=_REFUSED,
        alarm=False,
        good=1,
    ),
    Flag.FUTURE_DATED: FlagRule(
        raised_by="a reading that calls itself later than now by more than 5 s, or older than "
        "15 min",
        ends_with="three readings in a row of now",
        sentence="dates its readings wrongly. Set its node's clock, or let it send no time.",
        trust=_REFUSED,
        good=3,
    ),
    Flag.VALVE_EDGE: FlagRule(
        raised_by="a reading within 30 s of a valve that opens or closes",
        ends_with="the next reading away from such an edge",
        sentence="spoke just as a valve switched; that one reading is left out.",
        trust=_REFUSED,
        alarm=False,
        good=1,
    ),
    Flag.BROWN_OUT: FlagRule(
        raised_by="a battery below `battery_least_v`, or below 0.78 of the most that it held for "
        "two days",
        ends_with="three words of a battery 3 % above that, none below it in between",
        sentence="runs on a flat battery. Change it; until then it counts for less.",
        trust=_DOUBTFUL,
    ),
    Flag.BATTERY_FADING: FlagRule(
        raised_by="a battery whose daily lowest will be below that within a week, by its last days",
        ends_with="a trend that does not get there within ten days",
        sentence="will be out of battery within a week. Change it soon.",
        trust=Trust.NOTED,
    ),
}
