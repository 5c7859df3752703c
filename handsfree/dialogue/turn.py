"""One decision in the making: events kept in order, effects after them, the state as it will be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Protocol

from handsfree.dialogue.effects import Cue, Effect, Say
from handsfree.dialogue.route import View
from handsfree.dialogue.state import State, follow
from handsfree.dialogue.values import Value
from handsfree.dialogue.wording import (
    absent_words,
    may_be_misheard,
    say_characters,
    say_date,
    say_digits,
    short_name,
    short_qualifier,
    word,
)
from handsfree.events import Event, Said
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
    careful: bool = False
    """nothing of this decision is spoken briskly: it is said once more because it was not caught"""
    _view: View | None = None

    @property
    def view(self) -> View:
        """Plan, job and state as they are now."""
        if self._view is None or self._view.state is not self.state:
            self._view = View(self.plan, self.job, self.state)
        return self._view

    @property
    def item(self) -> Item | None:
        """The item on hand."""
        return self.plan.item(self.state.item) if self.state.item and self.plan.has_item(self.state.item) else None

    def emit(self, event: Event) -> int:
        """Keep an event; the number that it will have in the journal."""
        self.events.append(event)
        number = self.state.number + 1
        self.state = follow(self.state, event, number)
        return number

    def speak(self, text: str, purpose: str, *, brisk: bool = False) -> None:
        """Say words as they are; prompts and statuses are familiar, and brisk anyway."""
        if text:
            self.emit(Said(text=text, item=self.state.item, purpose=purpose))
            familiar = brisk or purpose in ("prompt", "status")
            self.effects.append(Say(text, purpose, familiar and not self.careful))

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
        """Quantity by its short name, qualifier, value and unit: the read-back, without a word that tells nothing."""
        amount = self.say_amount(reading)
        if reading.quantity is None:
            return amount
        said = self.language.quantities[reading.quantity].said
        named = f"{short_name(reading.quantity, said)} {short_qualifier(reading.qualifier)}".strip()
        return f"{named}, {amount}"

    def say_amount(self, reading: Reading) -> str:
        """Value and unit. Digit by digit where the quantity is read so (a meter index), where teens and tens could be
        confused, and where that is shorter; a bare two-digit one both ways, for "one five" may also mean 1.5."""
        bare = replace(reading, quantity=None, qualifier=None)
        words = self.language.say_reading(bare)
        value = bare.value if bare.spoken_value is None else bare.spoken_value
        quantity = self.language.quantities.get(reading.quantity or "")
        number, digits = self.language.say_number(value), say_digits(value)
        whole = value == value.to_integral_value() and value.as_tuple().exponent == 0
        by_digits = quantity is not None and quantity.digit_by_digit
        if may_be_misheard(value) and whole and abs(value) < 100 and not by_digits:
            return f"{words}, {digits}"
        shorter = abs(value) >= 100 and len(digits.split()) < len(number.split())
        return words.replace(number, digits, 1) if by_digits or may_be_misheard(value) or shorter else words

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
            return self.say_amount(Reading(Decimal(value.text), value.quantity, value.unit or None, value.qualifier))
        return self.say_value(value)


def how_confirmed(heard: Heard) -> str:
    """spoken yes or typed yes: words without a clip were typed."""
    return "spoken yes" if heard.clip else "typed yes"


def how_answered(heard: Heard, kind: str, stage: str) -> str:
    """How an answer was confirmed: free words are kept as they were said and nobody has checked them; a state or a plain
    yes or no without a proposal was said back, and no yes asked."""
    if kind == "text":
        return "recorded, words unchecked" if heard.clip else "typed, words unchecked"
    if not stage:
        return "spoken, said back" if heard.clip else "typed, said back"
    return how_confirmed(heard)


def sentence(text: str) -> str:
    """With a capital at the beginning."""
    return text[:1].upper() + text[1:]
