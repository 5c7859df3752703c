"""One decision in the making: events kept in order, effects after them, the state as it will be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Protocol

from handsfree.dialogue.effects import Cue, Effect, Say
from handsfree.dialogue.route import View
from handsfree.dialogue.state import State, apply
from handsfree.dialogue.values import Value
from handsfree.dialogue.wording import absent_words, may_be_misheard, say_characters, say_date, say_digits, word
from handsfree.events import Entry, Event, Said
from handsfree.model import Heard, Reading
from handsfree.plans.job import Job
from handsfree.plans.plan import Item, Plan


class QuantityWords(Protocol):
    """What the dialogue needs to know of a quantity."""

    @property
    def unit(self) -> str: ...

    @property
    def said(self) -> str: ...

    @property
    def digit_by_digit(self) -> bool: ...


class Tongue(Protocol):
    """What the dialogue needs of `language.Language`."""

    @property
    def quantities(self) -> Mapping[str, QuantityWords]: ...

    def say_number(self, value: Decimal) -> str: ...

    def say_reading(self, reading: Reading) -> str: ...


@dataclass(frozen=True, slots=True)
class Decision:
    """What `Engine.decide` answers: keep the events first, then carry out the effects."""

    events: tuple[Event, ...]
    effects: tuple[Effect, ...]


@dataclass(slots=True)
class Turn:
    """Collects a decision. `state` runs ahead of the journal by the events collected so far."""

    plan: Plan
    job: Job
    language: Tongue
    state: State
    events: list[Event] = field(default_factory=list)
    effects: list[Effect] = field(default_factory=list)

    @property
    def view(self) -> View:
        return View(self.plan, self.job, self.state)

    @property
    def item(self) -> Item | None:
        """The item on hand."""
        return self.plan.item(self.state.item) if self.state.item and self.plan.has_item(self.state.item) else None

    def emit(self, event: Event) -> int:
        """Keep an event; the number that it will have in the journal."""
        self.events.append(event)
        number = self.state.number + 1
        self.state = apply(self.state, Entry(number, "", event))
        return number

    def speak(self, text: str, purpose: str) -> None:
        """Say words as they are."""
        if text:
            self.emit(Said(text=text, item=self.state.item, purpose=purpose))
            self.effects.append(Say(text, purpose))

    def say(self, key: str, purpose: str = "status", **slots: str) -> None:
        """Say a sentence of the wording."""
        self.speak(word(key, **slots), purpose)

    def cue(self, name: str) -> None:
        self.effects.append(Cue(name))

    def do(self, effect: Effect) -> None:
        self.effects.append(effect)

    def decision(self) -> Decision:
        return Decision(tuple(self.events), tuple(self.effects))

    # ------------------------------------------------------------------------------------- saying values

    def say_reading(self, reading: Reading) -> str:
        """Quantity, value and unit; digit by digit where the quantity is read so (a meter index), and digits once more
        after a value whose teens and tens could be confused."""
        words = self.language.say_reading(reading)
        value = reading.value if reading.spoken_value is None else reading.spoken_value
        quantity = self.language.quantities.get(reading.quantity or "")
        if quantity is not None and quantity.digit_by_digit:
            return words.replace(self.language.say_number(value), say_digits(value))
        return f"{words}, {say_digits(value)}" if may_be_misheard(value) else words

    def say_value(self, value: Value) -> str:
        """A confirmed value in words, with its quantity and unit where it has them."""
        if value.absent:
            return absent_words(value.text)
        if value.kind == "quantity" and value.quantity:
            reading = Reading(Decimal(value.text), value.quantity, value.unit or None, value.qualifier)
            return self.say_reading(reading)
        return self.say_answer(value.text, value.kind, self.plan.item(value.item))

    def say_answer(self, text: str, kind: str, item: Item) -> str:
        """An answer that is no measured value, in words."""
        match kind:
            case "absent":
                return absent_words(text)
            case "state":
                return item.expect.state
            case "choice":
                return next(iter(item.expect.phrases.get(text, ())), text)
            case "digits" | "letters" | "serial":
                return say_characters(text)
            case "date":
                return say_date(text)
            case "number":
                return self.language.say_number(Decimal(text))
            case "text":
                return "a recording"
            case _:
                return text

    def say_bare(self, value: Value) -> str:
        """A confirmed value in words without the name of its quantity: the item was named already."""
        if value.kind == "quantity" and not value.absent:
            named = self.say_reading(Reading(Decimal(value.text), value.quantity, value.unit or None, value.qualifier))
            return named.partition(", ")[2]
        return self.say_value(value)


def how_confirmed(heard: Heard) -> str:
    """spoken yes or typed yes: words without a clip were typed."""
    return "spoken yes" if heard.clip else "typed yes"


def sentence(text: str) -> str:
    """With a capital at the beginning."""
    return text[:1].upper() + text[1:]
