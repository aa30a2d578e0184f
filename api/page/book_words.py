"""What a season came to, in sentences: the page and the command say the same.

Few picks tell little. Where two varieties differ, it is said how often chance alone does that.
"""

from __future__ import annotations

from datetime import date
from typing import Any

from api.page.words import MONTHS, Tongue, bed_name, count
from controller.book.season import SWING_DAYS, chance_of_difference

SELDOM = 0.05  # below it a difference is called one: custom, no source
FEW_PICKS = 5  # below it nothing is said of causes: our own caution
FAULTS = (("cracked", "cracked"), ("black_ended", "went black at the end"))


def day_words(day: str) -> str:
    """`3 Sep`."""
    on = date.fromisoformat(day)
    return f"{on.day} {MONTHS[on.month - 1]}"


def variety_name(name: str) -> str:
    """A variety, or what stands for none."""
    return name or "Fruit without a variety"


def sentences(book: dict[str, Any], tongue: Tongue) -> list[str]:
    """What a grower wants to know, one sentence each; silent where nothing was told.

    Args:
        book: as `GET /api/season` gives it.
        tongue: units.
    """
    beds = book["beds"]
    said = [_whole(book, tongue), _thirstiest(beds, tongue), _drier(book, tongue), _stress(beds)]
    said.append(_per_kg(beds, tongue))
    said += [_fault(book["varieties"], key, words, tongue) for key, words in FAULTS]
    said.append(_swung(beds, tongue))
    return [one for one in said if one]


def _whole(book: dict[str, Any], tongue: Tongue) -> str:
    beds = book["beds"]
    litres = sum(_drunk_l(bed) for bed in beds.values())
    waterings = sum(bed["waterings"] for bed in beds.values())
    if not _recorded(beds):
        return _unrecorded(book["first"], book["record_ends"])
    rain = max(bed["rain_mm"] for bed in beds.values())
    fell = f", and {tongue.depth(rain)} of rain fell" if rain > 0.0 else ""
    if not waterings:
        poured_l = sum(bed["poured_l"] for bed in beds.values())
        by_hand = f", {tongue.litres(poured_l)} was poured by hand" if poured_l > 0.0 else ""
        tried = any(bed["tested_l"] > 0.0 for bed in beds.values())
        none = "Valves were tried only, none watered" if tried else "No valve gave water"
        return f"{none}{by_hand}{fell}."
    many = count(waterings, "watering", "waterings")
    return f"The garden drank {tongue.litres(litres)} in {many}{fell}."


def _recorded(beds: dict[str, Any]) -> bool:
    """Whether the record holds anything of the season."""
    return any(
        bed["waterings"]
        or bed["tested_l"]
        or bed["driest_frac"] is not None
        or bed["picks"]
        or bed["poured_l"]
        for bed in beds.values()
    )


def _unrecorded(first: str, ends: str | None) -> str:
    """What is true of a season that the record does not reach."""
    if ends is None or ends >= first:
        return f"Nothing is recorded since {day_words(first)} {first[:4]}."
    return (
        f"The record ends on {day_words(ends)} {ends[:4]}, before this season began on "
        f"{day_words(first)} {first[:4]}: it holds nothing of it."
    )


def _thirstiest(beds: dict[str, Any], tongue: Tongue) -> str:
    name, bed = max(beds.items(), key=lambda row: _drunk_l(row[1]))
    drunk_l = _drunk_l(bed)
    if len(beds) < 2 or not drunk_l > 0.0:
        return ""
    each = tongue.litres(drunk_l / bed["plants"])
    return (
        f"{bed_name(name)} drank most: {tongue.litres(drunk_l)} in "
        f"{count(bed['waterings'], 'watering', 'waterings')}, {each} a plant."
    )


def _drier(book: dict[str, Any], tongue: Tongue) -> str:
    """What a drier line would have cost, and how far the reckoning is to be trusted."""
    found = book.get("drier")
    if not found:
        return ""
    change_l = found["litres"] - found["same_litres"]
    miss_l = found["miss_litres"]
    water = f"{tongue.litres(abs(change_l))} {'less' if change_l < 0.0 else 'more'}"
    if abs(change_l) <= miss_l:
        about = f" ({water})" if abs(change_l) >= 1.0 else ""
        water = f"as much water, as far as can be told{about}"
    fewer = found["same_waterings"] - found["waterings"]
    way = "fewer" if fewer >= 0 else "more"
    turns = count(abs(fewer), f"{way} watering", f"{way} waterings")
    turns = turns if fewer else "as many waterings"
    past = found["days_past_floor"] - found["same_days_past_floor"]
    way = "fewer" if past < 0 else "more"
    dry = count(abs(past), f"{way} day", f"{way} days") if past else "no more days"
    few = len(book["beds"]) - found["reckoned_beds"]
    beds = f" for all but {count(few, 'bed', 'beds')} of too short a record" if few else ""
    points = f"{100.0 * found['shift_frac']:.0f} points"
    return (
        f"Had each thirst line been {points} drier, the garden would have taken {water}, in "
        f"{turns}, with {dry} past a floor. That is reckoned{beds}, and may be out by "
        f"{tongue.litres(miss_l)}: see the small print."
    )


def drier_note(book: dict[str, Any], tongue: Tongue) -> str:
    """How a drier line was reckoned, for the foot of the book; empty where none was."""
    found = book.get("drier")
    if not found:
        return ""
    return (
        "A drier line is reckoned from the recorded hours alone: as if beds drank as fast from "
        "drier soil, and rain and water by hand had come as they came; the floor stays where it "
        "is. For the lines as they were the same way of reckoning comes to "
        f"{tongue.litres(found['same_litres'])}, and the valves gave "
        f"{tongue.litres(found['given_litres'])}: so far it may be out, bed by bed and added up, "
        f"by {tongue.litres(found['miss_litres'])}."
    )


def tested_words(beds: dict[str, Any], tongue: Tongue) -> str:
    """What the walk and the weekly proof took; empty where they took nothing."""
    tested_l = sum(bed["tested_l"] for bed in beds.values())
    if not tested_l > 0.0:
        return ""
    return f"{tongue.litres(tested_l)} went into trying the valves, which is no watering."


def _drunk_l(bed: dict[str, Any]) -> float:
    """What a bed drank through its valve, without what went into trying it [L]."""
    return float(bed["litres"] - bed["tested_l"])


def _stress(beds: dict[str, Any]) -> str:
    name, bed = max(beds.items(), key=lambda row: row[1]["dawns_past_line"])
    if not bed["dawns"]:
        return ""
    if not bed["dawns_past_line"]:
        return "No dawn found a bed past its thirst line, as the probes and the balance have it."
    return (
        f"{bed_name(name)} stood past its thirst line oftenest: on {bed['dawns_past_line']} of "
        f"{bed['dawns']} dawns."
    )


def _per_kg(beds: dict[str, Any], tongue: Tongue) -> str:
    known = {name: bed for name, bed in beds.items() if bed["litres_per_kg"] is not None}
    if not known:
        return ""
    ranked = sorted(known, key=lambda name: known[name]["litres_per_kg"])
    least, most = ranked[0], ranked[-1]
    took = {
        name: tongue.litres(tongue.per_mass(bed["litres_per_kg"])) for name, bed in known.items()
    }
    first = f"{bed_name(least)} took {took[least]} for a {tongue.mass_word}"
    return f"{first}." if least == most else f"{first}, {bed_name(most)} {took[most]}."


def _fault(varieties: list[dict[str, Any]], key: str, words: str, tongue: Tongue) -> str:
    known = [one for one in varieties if one["fruit"]["kg"] > 0.0]
    total = sum(one["fruit"][key] for one in known)
    if not total:
        return ""
    if len(known) == 1:
        kg = known[0]["fruit"]["kg"]
        return f"{total} fruit {words} in {tongue.mass_about(kg)}."
    worst = max(known, key=lambda one: one["fruit"][key] / one["fruit"]["kg"])
    many, kg = worst["fruit"][key], worst["fruit"]["kg"]
    others = total - many
    others_kg = sum(one["fruit"]["kg"] for one in known) - kg
    chance = chance_of_difference(many, kg, others, others_kg)
    often = _often(chance)
    caution = (
        f"chance alone would do that {often}, so it may well mean nothing"
        if chance >= SELDOM
        else f"chance alone seldom does that ({often} or less)"
    )
    return (
        f"Of {variety_name(worst['variety'])} most {words}: {many} fruit in "
        f"{tongue.mass_about(kg)}, of the others {others} in {tongue.mass_about(others_kg)}; "
        f"{caution}."
    )


def _often(chance: float) -> str:
    """How often something happens, as people say it: `one time in 4`."""
    if chance > 0.75:
        return "nearly every time"
    if chance > 0.4:
        return "every other time"
    return f"one time in {min(1000.0, 1.0 / max(chance, 1e-3)):.0f}"


def _swung(beds: dict[str, Any], tongue: Tongue) -> str:
    """How much water came back at once before the pick that cracked most, and before the others."""
    picks = [
        (pick["cracked"] / pick["kg"], name, pick)
        for name, bed in beds.items()
        for pick in bed["picks"]
        if pick["kg"] > 0.0 and pick["swing"] is not None
    ]
    if not picks or not any(rate > 0.0 for rate, _, _ in picks):
        return ""
    if len(picks) < FEW_PICKS:
        picked = count(len(picks), "pick", "picks")
        return f"{picked}: too few to say whether swings of the soil's water cracked the fruit."
    rate, name, worst = max(picks, key=lambda row: row[0])
    rest = sorted(pick["swing"]["back_frac"] for _, _, pick in picks if pick is not worst)
    here, there = (
        f"{100.0 * worst['swing']['back_frac']:.0f} %",
        f"{100.0 * (rest[len(rest) // 2]):.0f} %",
    )
    return (
        f"Most cracked in {bed_name(name)} on {day_words(worst['on'])}, "
        f"{tongue.per_mass(rate):.1f} fruit a {tongue.mass_word}: in the {SWING_DAYS} days before "
        f"it {here} of its water came back within a day; before the other picks {there} (median). "
        "Weather and ripeness crack fruit too."
    )
