"""A watch by voice: what a meter does while the loom is moved, told as it happens."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from by_hand import by_hand
from test_dialogue import Talk

from handsfree.diagnosis import Cause, Explanation
from handsfree.diagnosis.explain import Evidence, Ranked
from handsfree.diagnosis.verdict import Verdict
from handsfree.dialogue import Dialogue, informed
from handsfree.events import (
    Asked,
    ConditionSet,
    ExcursionSeen,
    ExcursionStruck,
    Noted,
    ReadingTaken,
    WatchBegun,
    WatchEnded,
)
from handsfree.grammar import Language
from handsfree.heard import Heard, Hypothesis
from handsfree.job import Job
from handsfree.job.times import SaidTimes
from handsfree.log import JobRecord, open_job, verify
from handsfree.plan import Plan, load_plan


class Watched(Talk):
    """Speaks at times that are told."""

    at = 1000.0

    def after(self, seconds: float, text: str) -> str:
        self.at += seconds
        return self.hear(replace(Heard.of_text(text), at=self.at))


@pytest.fixture
def talk(flap: Plan, english: Language) -> Watched:
    talk = Watched(Dialogue(flap, english))
    talk.start()
    return talk


def test_each_excursion_is_logged_with_its_time_and_said_back_briefly(talk: Watched) -> None:
    said = talk.after(0, "keep an eye on white")
    assert said.startswith("Watching white with green stripe.")
    (begun,) = talk.did(WatchBegun)
    assert isinstance(begun, WatchBegun)
    assert (begun.wire, begun.pins, begun.began) == ("white/green", ("4",), 1000.0)
    assert talk.after(12.5, "drops to two point one") == "drop, two point one volts."
    assert talk.did(ExcursionSeen) == [
        ExcursionSeen(1, 1, 12.5, "drop", value=2.1, unit="V", spoken="2.1")
    ]
    assert talk.after(1, "jumps to nine") == "jump, nine volts."
    assert talk.after(1, "flickers") == "flicker."
    assert talk.after(1, "it drops out") == "drop out."
    assert talk.after(1, "steady") == "steady."
    assert talk.after(1, "two point five") == "two point five volts."
    said = talk.after(102.5, "end of watch")
    assert said.startswith(
        "Watch on white with green stripe ended: four excursions in two minutes, "
        "lowest two point one volts, highest nine volts. Again: Battery"
    )
    assert talk.did(WatchEnded) == [WatchEnded(1, 120.0, 4, 2.1, 9.0, "V")]
    assert "twelve point six volts, in range" in talk.after(5, "twelve six")


def test_nothing_in_a_watch_is_a_reading_and_no_step_is_left(talk: Watched) -> None:
    step = talk.session.step
    talk.after(0, "keep an eye on white")
    for text in ("four point nine", "next", "skip", "go back", "go to violet", "repair done"):
        talk.after(1, text)
        assert not talk.did(ReadingTaken)
    assert talk.session.watch
    assert talk.session.step == step


def test_a_fleeting_value_may_be_about(talk: Watched) -> None:
    talk.after(0, "keep an eye on white")
    assert talk.after(1, "drops to about two volts") == "drop, about two volts."


def test_a_short_number_is_read_where_the_meter_went(talk: Watched) -> None:
    talk.after(0, "keep an eye on white")
    assert talk.after(1, "drops to oh point three") == "drop, zero point three volts."
    assert talk.after(1, "jumps to nine eight") == "jump, nine point eight volts."


@pytest.mark.parametrize("text", ["doesn't get it", "it's not steady", "never drops to two"])
def test_what_is_denied_is_not_logged(talk: Watched, text: str) -> None:
    talk.after(0, "keep an eye on white")
    talk.after(1, text)
    assert not talk.did(ExcursionSeen)


def test_what_is_impossible_there_is_not_logged(talk: Watched) -> None:
    talk.after(0, "keep an eye on white")
    assert talk.after(1, "drops to three kilohms") == "three kilohms cannot be what is watched."
    assert not talk.did(ExcursionSeen)


def test_the_last_can_be_struck(talk: Watched) -> None:
    talk.after(0, "keep an eye on white")
    talk.after(1, "drops to two")
    talk.after(1, "drops to one")
    assert talk.after(1, "strike that") == "Struck."
    assert talk.did(ExcursionStruck) == [ExcursionStruck(1, 2)]
    talk.after(1, "drops to three")
    watch = talk.session.watch
    assert watch
    assert [one.number for one in watch.seen] == [1, 3]
    assert "two excursions" in talk.after(1, "done watching")


def test_an_unsure_one_is_confirmed_and_keeps_its_time(talk: Watched) -> None:
    talk.after(0, "keep an eye on white")
    words = (Hypothesis("drops to two point one", 0.0), Hypothesis("drops to two point nine", -0.6))
    talk.at += 4
    said = talk.hear(replace(Heard(words), at=talk.at))
    assert said == "drop, two point one volts. Right?"
    assert talk.did(Asked)
    talk.after(6, "yes")
    (seen,) = talk.did(ExcursionSeen)
    assert isinstance(seen, ExcursionSeen)
    assert seen.after == 4.0


def test_notes_and_conditions_belong_to_it(talk: Watched) -> None:
    talk.after(0, "keep an eye on white")
    talk.after(1, "note at the bulkhead")
    assert talk.did(Noted)
    talk.after(1, "key on")
    assert talk.did(ConditionSet)
    assert talk.session.watch


def test_nothing_seen_is_said(talk: Watched) -> None:
    talk.after(0, "keep an eye on white")
    assert "nothing seen in forty seconds" in talk.after(40, "end of watch")
    assert "Nothing is watched." in talk.after(1, "end of watch")


def test_in_other_words_it_is_asked_first(talk: Watched) -> None:
    assert talk.after(0, "watch white") == "Watch white with green stripe?"
    assert not talk.did(WatchBegun)
    assert talk.after(1, "yes").startswith("Watching white with green stripe.")
    assert talk.session.watch


def test_no_live_loom_of_an_airbag_is_moved(english: Language) -> None:
    talk = Talk(Dialogue(load_plan("airbag-supply").plan, english)).start()
    assert talk.hear("keep an eye on red").startswith("No watch on this circuit.")
    assert not talk.did(WatchBegun)


def test_an_intermittent_contact_is_no_sound_circuit(talk: Watched) -> None:
    """At rest all fits: that alone is told as no fault found here."""
    cause = Cause("no fault", ())
    ranked = Ranked(cause, (), 15.0, (Evidence("battery_voltage", 1.0, 1.0, 0.0),))
    verdict = Verdict("no fault", (), 15.0, None)
    found = Explanation((ranked,), True, (cause,), 15.0, (), (), (), verdict)
    desk = talk.dialogue.desk
    assert informed.finding(desk, talk.session, found).part == "no fault found here"
    talk.after(0, "keep an eye on white")
    talk.after(1, "steady at two point five")
    assert informed.finding(desk, talk.session, found).part == "no fault found here"
    talk.after(1, "drops out")
    told = informed.finding(desk, talk.session, found)
    assert told.part == ("a contact that comes and goes, place not found: white with green stripe")
    assert told.say == (
        "At rest all readings fit a sound circuit. In the watch on white with green stripe "
        "they did not."
    )


def test_a_job_goes_on_within_a_watch(tmp_path: Path, english: Language) -> None:
    loaded = by_hand("flap-actuator-5wire")

    def dictate(*said: str) -> None:
        with open_job(tmp_path / "job", loaded.text.encode(), title=loaded.plan.title) as log:
            job = Job(Dialogue(loaded.plan, english), log, lambda _: None, lambda _: None)
            job.begin()
            for text in said:
                job.hear(Heard.of_text(text))

    dictate("twelve six", "keep an eye on white", "drops to two point one")
    dictate("flickers", "end of watch")
    record = JobRecord.read(tmp_path / "job")
    (watch,) = record.session.watches
    assert [one.shows for one in watch.seen] == ["drop", "flicker"]
    assert watch.ended
    assert watch.ended.excursions == 2
    assert verify(tmp_path / "job").ok


def test_a_recording_goes_by_its_own_time() -> None:
    """However fast it is listened to; a second one begins when the first is over."""
    times = SaidTimes()
    assert times.of(10.0, 11.0, 500.0, "a.flac", "file") == 500.0
    assert times.of(130.0, 131.0, 503.0, "a.flac", "file") == 620.0
    assert times.of(2.0, 3.0, 504.0, "b.flac", "file") == 620.0
    assert times.of(4.0, 5.0, 504.5, "b.flac", "file") == 622.0
    assert times.of(0.0, 0.0, 700.0, None, None) == 700.0
    assert times.of(55.0, 57.0, 712.0, "microphone", "microphone") == 710.0
