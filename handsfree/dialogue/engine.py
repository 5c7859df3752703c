"""A state and an input in, events and effects out. Pure: no clock, no files, no sound, no chance.

How a caller drives it:

    engine = Engine(plan, job, language)
    state = apply(State(), journal.append(VisitStarted(...)))    # the caller writes the first event
    decision = engine.start(state)      # or engine.resume(state) for a visit that was cut off
    while True:
        for event in decision.events:   # on disk before anything is spoken
            state = apply(state, journal.append(event))
        for effect in decision.effects: ...     # the last one is Listen, Wait or Stop
        decision = engine.decide(state, HeardInput(heard))      # or Silence, WaitOver, SoundWentAway, SoundCameBack
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from decimal import Decimal

from handsfree.dialogue.commands import go_back_one
from handsfree.dialogue.effects import LAST
from handsfree.dialogue.hearing import take_heard
from handsfree.dialogue.inputs import HeardInput, Input, Silence, SoundCameBack, SoundWentAway, WaitOver
from handsfree.dialogue.moving import advance
from handsfree.dialogue.prompts import QUIET_AFTER, SHORT_S, listen, phase, prompt, prompt_unsafe, say_where
from handsfree.dialogue.state import State
from handsfree.dialogue.turn import Decision, Tongue, Turn, sentence
from handsfree.dialogue.unsafe import emergency_of, say_steps
from handsfree.dialogue.wording import say_seconds
from handsfree.dialogue.working import Trade
from handsfree.errors import BadInput
from handsfree.events import Asked, ProposalDropped, Resumed, SilenceHeard, SoundBack, SoundLost, WaitEnded, WaitWentOn
from handsfree.model import Limit, Verdict, WorkedOut
from handsfree.plans.job import Job
from handsfree.plans.plan import Plan

__all__ = ["Decision", "Engine"]


def _the_trade() -> Trade:
    from handsfree.trade import judge, trade_limit, work_out
    from handsfree.trade.crosschecks import cross_checks

    def limit(id: str, on: dt.date) -> Limit:
        return trade_limit(id, on)

    def compute(name: str, given: Mapping[str, str]) -> WorkedOut:
        return work_out(name, given)

    def rule(value: Decimal, limit: Limit, spread: Decimal | None, run_s: Decimal | None) -> Verdict:
        return judge(value, limit, spread, run_s)

    return Trade(compute, limit, rule, cross_checks)


class Engine:
    """The dialogue of one visit.

    Args:
        plan: what is to be done.
        job: the maker's data, people, instruments.
        language: says numbers and readings; knows the quantities.
        trade: computations and limits; the trade's own by default.
    """

    def __init__(self, plan: Plan, job: Job, language: Tongue, trade: Trade | None = None) -> None:
        self.plan = plan
        self.job = job
        self.language = language
        self._trade = trade or _the_trade()

    def _turn(self, state: State) -> Turn:
        return Turn(self.plan, self.job, self.language, state)

    def start(self, state: State) -> Decision:
        """The first words of the visit and the first item.

        Raises:
            BadInput: the state does not hold a `VisitStarted`.
        """
        if state.started is None:
            raise BadInput("the visit has not been started", "write VisitStarted first")
        turn = self._turn(state)
        turn.speak(self.plan.opening, "warning")
        advance(turn, self._trade)
        return self._checked(turn)

    def resume(self, state: State, reason: str = "") -> Decision:
        """Carry on with a visit that was cut off: the proposal on hand is dropped, and the dialogue goes back one item
        (rules 10, 11). One that was ended with something open is taken up again after a yes."""
        if state.item is None and state.finished is None:
            return self.start(state)
        turn = self._turn(state)
        if state.finished is not None:
            if not state.finished.complete:
                turn.emit(Asked(what="reopen"))
                prompt(turn)
            listen(turn)
            return self._checked(turn)
        turn.emit(Resumed(reason=reason))
        if turn.state.proposal is not None:
            turn.emit(ProposalDropped(item=turn.state.proposal.event.item, reason="resumed"))
        if turn.state.unsafe is not None:
            say_steps(turn, emergency_of(turn))
            prompt_unsafe(turn)
            listen(turn)
        else:
            go_back_one(turn, self._trade)
        return self._checked(turn)

    def decide(self, state: State, input: Input) -> Decision:
        """What follows from an input. The state is not changed: keep the events, then carry out the effects."""
        turn = self._turn(state)
        if phase(turn.view) == "finished":
            listen(turn)
            return self._checked(turn)
        match input:
            case HeardInput():
                if state.wait is not None and input.waited_s > 0:
                    turn.emit(WaitWentOn(item=state.wait.item, waited_s=input.waited_s))
                take_heard(turn, self._trade, input.heard)
            case Silence(seconds):
                _take_silence(turn, seconds)
            case WaitOver(seconds):
                self._end_wait(turn, seconds)
            case SoundWentAway(reason):
                if not state.sound_lost:
                    turn.emit(SoundLost(reason=reason))
                turn.say("sound_lost", "warning", reason=reason)
                listen(turn)
            case SoundCameBack():
                turn.emit(SoundBack())
                turn.say("sound_back")
                say_where(turn)
                if phase(turn.view) != "item":
                    prompt(turn)
                listen(turn)
        return self._checked(turn)

    def _end_wait(self, turn: Turn, seconds: float) -> None:
        wait = turn.state.wait
        if wait is None:
            listen(turn)
            return
        turn.emit(WaitEnded(item=wait.item, seconds=round(turn.state.waited_s + seconds, 1)))
        turn.cue("wait_over")
        turn.say("wait_over", time=say_seconds(wait.seconds), what=sentence(wait.what))
        advance(turn, self._trade)

    @staticmethod
    def _checked(turn: Turn) -> Decision:
        *others, last = turn.effects
        only_one = isinstance(last, LAST) and not any(isinstance(effect, LAST) for effect in others)
        assert only_one, "a decision ends in exactly one of Listen, Wait, Stop"
        return turn.decision()


def _take_silence(turn: Turn, seconds: float) -> None:
    """Silence changes no value: after 10 s the place is said, later only listening goes on."""
    turn.emit(SilenceHeard(item=turn.state.item, seconds=seconds))
    place = phase(turn.view)
    if place in ("held", "waiting") or turn.state.silences > QUIET_AFTER:
        pass
    elif place == "unsafe" and turn.state.silences == 1 and turn.state.asked is None:
        say_steps(turn, emergency_of(turn))
        prompt_unsafe(turn)
    elif place == "item" and turn.state.silences == 1 and seconds >= SHORT_S:
        say_where(turn)
        prompt(turn)
    else:
        prompt(turn)
    listen(turn)
