"""Goes through the questions: given answers first, then a person, else the default.

Who is asked and how things are shown come as functions, so that this stays free of any terminal.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from api.first_day.answers import Answers, BedAnswer, ProbeAnswer
from api.first_day.asked import Here, Question, Sofar
from api.first_day.hearing import Heard, depth_cm
from api.first_day.questions import BED, GARDEN, KEYS, NONE, probe_questions
from api.first_day.reading import Guide, NotAllowedError, Soil
from api.first_day.soil_tests import lead
from controller.errors import WrongUseError

Ask = Callable[[Question, str, str], str]
PROBE_KEYS = ("kind", "depth_cm")


@dataclass(slots=True)
class Interview:
    """One round of questions.

    Args:
        here: what the machine knows.
        given: answers of a script by key, `plants` or `south.plants`.
        ask: takes the question, whose it is and the default; gives what was typed. None: nobody
            is asked, defaults stand.
        say: shows a line to whoever answers.
        listen: given broker and seconds, gives what spoke.
    """

    here: Here
    given: Mapping[str, str]
    ask: Ask | None
    say: Callable[[str], None]
    listen: Callable[[str, float], Heard]
    used: set[str] = field(default_factory=set)

    def run(self) -> Answers:
        """Ask everything.

        Raises:
            WrongUseError: a given answer is not allowed, or answers nothing.
        """
        sofar = Sofar(here=self.here, heard=Heard())
        assumed: set[str] = set()
        for question in GARDEN:
            value = self._answer(question, sofar, "", assumed)
            sofar.garden[question.key] = value
            if question.key == "listen" and value > 0:
                sofar.heard = self.listen(sofar.garden["broker"], value)
        beds = []
        for name in sofar.garden["names"]:
            beds.append(self._bed(sofar, name))
        self._all_used(sofar.garden["names"])
        return _answers(sofar, tuple(beds), frozenset(assumed))

    def _bed(self, sofar: Sofar, name: str) -> BedAnswer:
        sofar.before, sofar.bed = sofar.bed, {"bed": name}
        assumed: set[str] = set()
        for question in BED:
            sofar.bed[question.key] = self._answer(question, sofar, name, assumed)
        told, heard = sofar.bed, sofar.heard
        probes = [
            found
            for probe in told["probes"]
            if (found := self._probe(sofar, probe, assumed)) is not None
        ]
        sofar.garden.setdefault("taken", []).extend(probe.name for probe in probes)
        usual = f"thirstline/{sofar.garden['id']}/valve/{name}/state"
        topic = heard.valves.get(name, usual)
        keys = ("plants", "spacing_m", "width_m", "planted", "mulch", "lines")
        return BedAnswer(
            name=name,
            soil=told["soil"].name,
            soil_by=told["soil"].by,
            emitter_l_h=told["emitter_l_h"],
            emitters=told["emitters"],
            valve_topic="" if topic == usual else topic,
            probes=tuple(probes),
            assumed=frozenset(assumed),
            **{key: told[key] for key in keys},
        )

    def _probe(self, sofar: Sofar, name: str, assumed: set[str]) -> ProbeAnswer | None:
        heard = sofar.heard.probes.get(name)
        kind = heard.kind if heard is not None else ""
        said = heard.said if heard is not None else ""
        ask_kind, ask_depth = probe_questions(name, said, kind, _depth(sofar, name))
        told = self._answer(ask_kind, sofar, name, assumed)
        if told == "out":
            self.say(f"{name} is left out.")
            return None
        depth_cm = self._answer(ask_depth, sofar, name, assumed)
        usual = f"thirstline/{sofar.garden['id']}/probe/{name}"
        topic = heard.topic if heard is not None else usual
        return ProbeAnswer(
            name=name,
            topic="" if topic == usual else topic,
            field=heard.field if heard is not None else None,
            senml=heard.senml if heard is not None else None,
            kind=told,
            depth_cm=depth_cm,
            said=said,
        )

    # -- one answer

    def _answer(
        self,
        question: Question,
        sofar: Sofar,
        whose: str,
        assumed: set[str],
    ) -> Any:  # noqa: ANN401 - each question has a type of its own
        """Take a given answer, else a person's, else the default."""
        for key in (f"{whose}.{question.key}", question.key):
            if key in self.given:
                self.used.add(key)
                return self._given(question, sofar, key)
        default = question.default(sofar)
        us = question.us if sofar.us else None
        shown = default if us is None else us.shown(default)
        while self.ask is not None and question.asked:
            typed = self.ask(question.spoken(sofar), whose, shown)
            told = default if typed == shown else typed if us is None else us.taken(typed)
            try:
                value = self._fitting(question, sofar, told)
            except NotAllowedError as exc:
                self.say(f"{exc}.")
                continue
            if typed == shown:
                assumed.add(question.key)
            return value
        assumed.add(question.key)
        try:
            return self._fitting(question, sofar, default)
        except NotAllowedError as exc:
            msg = f"{question.key}: {exc}; say --answer {question.key}=…"
            raise WrongUseError(msg) from exc

    def _given(self, question: Question, sofar: Sofar, key: str) -> Any:  # noqa: ANN401 - as above
        try:
            return self._fitting(question, sofar, self.given[key])
        except NotAllowedError as exc:
            msg = f"{key}: {exc}"
            raise WrongUseError(msg) from exc

    def _fitting(self, question: Question, sofar: Sofar, text: str) -> Any:  # noqa: ANN401
        value = question.read(text)
        if isinstance(value, Guide):
            value = self._guided(value, us=sofar.us)
        misfit = question.fits(sofar, value)
        if misfit is not None:
            raise NotAllowedError(misfit)
        return value

    def _guided(self, guide: Guide, *, us: bool) -> Soil:
        if self.ask is None:
            msg = "nobody can be led through a test; allowed is feel 3 gritty or jar 4 4 2"
            raise NotAllowedError(msg)
        found = lead(guide.test, self.ask, self.say, us=us)
        self.say(f"That is {found.name}.")
        return found

    def _all_used(self, beds: tuple[str, ...]) -> None:
        """Refuse a given answer that nothing asked for: most likely a slip of the pen."""
        for key in self.given:
            if key in self.used:
                continue
            whose, _, what = key.rpartition(".")
            known = [*KEYS, *PROBE_KEYS]
            if what not in known:
                near = difflib.get_close_matches(what, known, n=1)
                hint = f"the nearest is {near[0]}" if near else "thirstline new --questions"
                msg = f"{key[:60]!r} is no question; {hint}"
            else:
                owner = whose[:40] or "this garden"
                msg = f"{key[:60]!r} answers nothing of {owner}; the beds are {', '.join(beds)}"
            raise WrongUseError(msg)


def _depth(sofar: Sofar, name: str) -> float:
    heard = sofar.heard.probes.get(name)
    return heard.depth_cm if heard is not None else depth_cm(name)


def _answers(sofar: Sofar, beds: tuple[BedAnswer, ...], assumed: frozenset[str]) -> Answers:
    told, heard = sofar.garden, sofar.heard
    usual = f"thirstline/{told['id']}"
    meter = next(iter(heard.meters), "main")
    mast = next(iter(heard.masts), "")

    def unusual(topic: str, at: str) -> str:
        return "" if topic == f"{usual}/{at}" else topic

    return Answers(
        name=told["name"],
        garden_id=told["id"],
        timezone=told["timezone"],
        units=told["units"],
        latitude=told["latitude"],
        longitude=told["longitude"],
        elevation_m=told["elevation_m"],
        broker=told["broker"],
        page_name=sofar.here.host if told["phones"] else "",
        bucket_l=told["bucket_l"],
        bucket_s=told["bucket_s"],
        pulse_l=told["pulse_l"],
        meter=meter,
        meter_topic=unusual(heard.meters.get(meter, ""), f"meter/{meter}") if heard.meters else "",
        master="master" if told["master"] else "",
        master_topic=unusual(heard.valves["master"], "valve/master/state")
        if "master" in heard.valves
        else "",
        mast=mast,
        mast_topic=unusual(heard.masts[mast], f"weather/{mast}") if mast else "",
        beds=beds,
        assumed=assumed,
    )


def given_from(table: Mapping[str, Any]) -> dict[str, str]:
    """Flatten a file of answers: `plants = 24`, and `[south]` with answers of that bed or probe.

    Raises:
        WrongUseError: a value is none that can be typed.
    """
    found: dict[str, str] = {}
    for key, value in table.items():
        if isinstance(value, Mapping):
            found |= {f"{key}.{inner}": text for inner, text in given_from(value).items()}
        elif isinstance(value, bool):
            found[key] = "yes" if value else "no"
        elif isinstance(value, list):
            found[key] = ",".join(map(str, value)) or NONE
        else:
            found[key] = str(value)
    return found
