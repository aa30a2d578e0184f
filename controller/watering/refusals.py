"""What the guard's refusals say to people."""

from __future__ import annotations

from controller.watering.limits import Refused

REFUSALS: dict[Refused, str] = {
    Refused.NOT_ARMED: "The valves have not been walked and proved yet.",
    Refused.PROVING: "Valves are being proved; that takes some minutes.",
    Refused.LOCKED: "Somebody works at the pipes: the garden is locked.",
    Refused.OTHER_CONTROLLER: "Another controller speaks to these valves.",
    Refused.CANNOT_RECORD: "The record cannot be written.",
    Refused.LINK_LOST: "There is no contact with the broker.",
    Refused.QUIET_START: "Just started: nothing opens in the first minutes.",
    Refused.VALVE_LATCHED: "An alert keeps this valve shut until a person lifts it.",
    Refused.FROST: "It is too cold.",
    Refused.BUDGET_SPENT: "The record was lost: the day's water counts as given.",
    Refused.NOT_FINITE: "That is no amount of water.",
    Refused.TOO_SHORT: "That would run for less than a minute.",
    Refused.TOO_LONG: "That is longer than one opening may last.",
    Refused.DOSE_CAP: "That is more than one watering may give.",
    Refused.BED_CAP: "That would pass this bed's limit for 24 hours.",
    Refused.SITE_CAP: "That would pass the garden's limit for 24 hours.",
    Refused.BUSY: "As many beds as may drink at once are drinking.",
    Refused.SUPPLY: "The supply cannot feed this bed beside the ones that drink.",
    Refused.STARTS: "This valve has opened twelve times in 24 hours.",
    Refused.RESTING: "This valve closed less than ten minutes ago.",
}
