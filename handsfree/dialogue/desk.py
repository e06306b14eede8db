"""What every part of the dialogue works with, and does not change while it runs."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from handsfree.check import expected
from handsfree.diagnosis import Diagnosis
from handsfree.dialogue.session import Session
from handsfree.dialogue.wording import Wording
from handsfree.events import MeterPart
from handsfree.grammar import SpokenPlan
from handsfree.once import once
from handsfree.plan.amended import Amendment
from handsfree.plan.schema import Plan, Step
from handsfree.plan.sheet import FreePlan
from handsfree.units import show


@once(kept=2)
def _diagnosis(plan: Plan) -> Diagnosis | None:
    return Diagnosis.of_plan(plan)


@dataclass(frozen=True)
class Desk:
    """The plan, its spoken form and its wording.

    Attributes:
        plan: what is to be probed.
        spoken: gives the grammar of each moment.
        wording: says things.
        apprentice: say how to probe and why, and ask what to expect, before each step.
        informed: the next step is the one that tells most a minute, not that of the plan.
    """

    plan: Plan
    spoken: SpokenPlan
    wording: Wording
    apprentice: bool = False
    informed: bool = False

    @property
    def free(self) -> bool:
        """Whether there is no plan: nothing is expected, and nothing comes next."""
        return isinstance(self.plan, FreePlan)

    def amended(self, change: Amendment) -> Desk:
        """The desk once this was told of the plan.

        Raises:
            ValueError: it cannot be so; says why.
        """
        wording = self.wording.amended(change)
        plan = wording.plan
        return replace(self, plan=plan, spoken=self.spoken.of(plan), wording=wording)

    @cached_property
    def diagnosis(self) -> Diagnosis | None:
        """Of the plan's circuit, computed once at the first use; None if it has none."""
        return _diagnosis(self.plan)

    def step(self, session: Session) -> Step | None:
        """The open step."""
        return self.plan.step(session.step) if session.step else None

    def focus(self, session: Session) -> Step | None:
        """The step whose value is awaited: of the watch, the open question, else the open one."""
        if session.watch:
            watched = session.watch.begun.step
            return self.plan.step(watched) if watched else None
        if session.question and session.question.kind in ("leads", "battery"):
            return self.meter_step(session.question.kind)
        if session.question and session.question.step:
            return self.plan.step(session.question.step)
        return self.step(session)

    def meter_step(self, part: MeterPart) -> Step:
        """What a sound meter shows when it is checked, as a step that is in no plan.

        Leads have some tenths of an ohm; a battery between a cell and the vehicle's own, while it
        is charged, counts as known.  Common practice, no published source.
        """
        kind, low, high = {
            "leads": ("resistance", "0 Ω", "1 Ω"),
            "battery": ("voltage", "1 V", show(self.plan.supply * 1.25)),
        }[part]
        return Step.model_validate(
            {
                "id": part,
                "prompt": part,
                "probe": {"red": part, "black": part},
                "why": part,
                "condition": self.plan.conditions[0].id,
                "measure": {"quantity": kind},
                "expect": {"low": low, "high": high},
            }
        )

    def guessing(self, session: Session) -> Step | None:
        """The open step of which the apprentice has yet to say what to expect.

        What is said then is no reading, whatever else was asked or told in between.
        """
        step = self.step(session)
        return step if step and not session.question and self.untold(session, step) else None

    def untold(self, session: Session, step: Step) -> bool:
        """Whether an apprentice is not to hear yet what is expected at a step."""
        if step.expect.nothing:
            return False
        return self.apprentice and step.id not in {guess.step for guess in session.guesses}

    def say(self, key: str, **values: str) -> str:
        """The prompt `key` with its places filled in."""
        return self.wording.prompt(key, **values)

    def prompt(self, session: Session, step: Step, how: str) -> str:
        """The prompt of a step with what is expected; `how` is "next", "again" or "back_to".

        An apprentice who has not said what to expect is asked for it instead.
        """
        warning, prompt = self.lead_warning(session, step), self.bare_prompt(session, step, how)
        return f"{warning} {prompt}".strip()

    def lead_warning(self, session: Session, step: Step) -> str:
        """That the lead goes back before this step; empty if it need not."""
        left = session.jack == "current" and step.by_volts_jack
        return self.say("lead_back_first") if left else ""

    def bare_prompt(self, session: Session, step: Step, how: str) -> str:
        """The prompt without a warning before it."""
        if step.expect.nothing:
            return self.say(f"{how}_untold", prompt=step.prompt)
        if self.untold(session, step):
            return f"{self.say(f'{how}_untold', prompt=step.prompt)} {self.say('ask_guess')}"
        before = self.plan.step(session.visited[-1]) if how == "next" and session.visited else None
        brief = self.wording.brief_prompt(step, before)
        expected = self.expectation(session, step)
        return self.say(how, prompt=step.prompt, brief=brief, expected=expected)

    def expectation(self, session: Session, step: Step) -> str:
        """What is expected at a step, in words."""
        return self.wording.expected(step, expected(step, session.taken))

    def standing_prompt(self, session: Session) -> str:
        """What the technician is waited for: what is watched, the open step, or the repair."""
        if session.watch:
            begun = session.watch.begun
            wire = f" {self.say('or')} ".join(
                self.wording.pin(self.plan.pin(p)) for p in begun.pins
            )
            return self.say("watching", wire=wire)
        step = self.step(session)
        if self.free:
            return self._place(session)
        if step:
            return self.prompt(session, step, "again")
        return self.say("await_repair") if session.phase == "verdict" else ""

    def _place(self, session: Session) -> str:
        """In a free job: whose value is waited for, under which condition."""
        if session.wire is None:
            return self.say("free_which" if self.plan.connector.pins else "free_start")
        wire = self.wording.pin(self.plan.pin(session.wire))
        said = self.say("free_at", wire=wire, condition=self.condition_said(session))
        left = session.jack == "current"
        return f"{self.say('lead_back_first')} {said}" if left else said

    def condition_said(self, session: Session) -> str:
        """The condition that is set, in words; the first of the plan, if none is known."""
        known = session.condition or self.plan.conditions[0].id
        return self.plan.condition(known).say
