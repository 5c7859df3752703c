"""Small plans for the exploration of states: each has one kind of thing that a plan can do, and all have what goes with it."""

from __future__ import annotations

from decimal import Decimal

from dialogue_exploration import Row, heard

from handsfree.model import Command, Reading, Readings

HEAD = """
name = "{name}"
title = "{name}"
about = "For the exploration of states."
opening = "Small."
sources = ["ours"]
[[chunk]]
id = "one"
title = "one"
place = "here"
done = "One complete."
"""


def item(id: str, expect: str, *more: str, quantity: str = "") -> str:
    prompt = f"Look at the {id.replace('_', ' ')} here."
    return "\n".join(
        ["[[chunk.item]]", f'id = "{id}"', f'say = "{id.replace("_", " ")}"', f'prompt = "{prompt}"', f"expect = {{ {expect} }}",
         'source = "ours"', *more, ""]
    )  # fmt: skip


CHARGE = item(
    "charge",
    'quantity = "vessel_charge"',
    'limit = { low = 0.5, high = 1, unit = "bar", source = "ours" }',
    'outside = "Pump it up."',
)
COLD = item("cold", 'quantity = "system_pressure", qualifier = "cold"')
HOT = item("hot", 'quantity = "system_pressure", qualifier = "hot"')
READY = item(
    "ready",
    'yes_no = "yes"',
    "killer = true",
    'on_outside = "unsafe"',
    'emergency = "products"',
    'outside = "Shut it."',
    'once = "small"',
)
ANOTHER = item("another", 'yes_no = "either"')
SECOND = '[[chunk]]\nid = "two"\ntitle = "two"\nplace = "there"\ndone = "Two complete."\n'


def reading(quantity: str, value: str, qualifier: str | None = None) -> object:
    return heard(Readings((Reading(Decimal(value), quantity, "bar", qualifier),)))


def change(name: str) -> object:
    return heard(Command("change", target=name))


INSIDE = {"charge 0.75": reading("vessel_charge", "0.75")}
OUTSIDE = {"charge 0.2": reading("vessel_charge", "0.2")}
COLD_12 = {"cold 1.2": reading("system_pressure", "1.2", "cold")}
HOT_18 = {"hot 1.8": reading("system_pressure", "1.8", "hot")}
HOT_10 = {"hot 1.0": reading("system_pressure", "1.0", "hot")}
HOT_29 = {"hot 2.9": reading("system_pressure", "2.9", "hot")}

QUESTION = """
[[question]]
id = "hot_over_cold"
items = ["cold", "hot"]
require = "item.hot >= item.cold"
ask = "Hot is below cold. Both right?"
source = "physics"
"""
RISE = """
[[result]]
id = "rise"
say = "rise"
compute = "difference"
given = { value = "item.hot", less = "item.cold", unit = "bar" }
limit = { low = 0, high = 1, unit = "bar", source = "ours" }
outside = "Look at the vessel."
read_again = ["hot"]
source = "arithmetic"
"""
LOOP = """
[[loop]]
id = "rounds"
items = ["settle", "another"]
until = { "answer.another" = "no" }
max_rounds = 2
again = "Once more."
spent = "Enough."
"""
SPENT = 'spent_unsafe = true\nemergency = "products"\n'
CAUSES = """
[[cause]]
id = "found"
say = "found"
when = { "answer.another" = "yes", "answer.more" = "no" }
action = "Mend it."
source = "ours"
"""
SETTLE = item("settle", 'wait_s = 10, what = "settling"')
RESTS = item("cold", 'quantity = "system_pressure", qualifier = "cold"', 'rests_on = ["charge"]')
UNSAFE_TWICE = RISE.replace(
    'source = "arithmetic"', 'outside_twice = "unsafe"\nemergency = "products"\nsource = "arithmetic"'
)
AT_ONCE = item(
    "smell",
    'yes_no = "no"',
    "killer = true",
    'on_outside = "unsafe_at_once"',
    'emergency = "smell_of_gas"',
    'outside = "Escape."',
    'once = "small"',
)

PLANS: dict[str, tuple[str, Row]] = {
    "a limit": (HEAD + CHARGE + ANOTHER, {**INSIDE, **OUTSIDE, "change charge": change("charge")}),
    "a killer": (HEAD + READY + COLD, {**COLD_12, "change ready": change("ready")}),
    "unsafe at once": (HEAD + AT_ONCE + ANOTHER, {"change another": change("another")}),
    "a wait in a loop": (HEAD + SETTLE + ANOTHER + LOOP, {"change another": change("another")}),
    "a loop that ends unsafe": (HEAD + SETTLE + ANOTHER + LOOP + SPENT, {}),
    "what rests on another": (HEAD + CHARGE + RESTS, {**INSIDE, **COLD_12, "change charge": change("charge")}),
    "two parts": (HEAD + COLD + SECOND + ANOTHER, {**COLD_12, "change cold": change("cold")}),
    "a question": (HEAD + COLD + HOT + QUESTION, {**COLD_12, **HOT_18, **HOT_10, "change cold": change("cold")}),
    "a result": (HEAD + COLD + HOT + RISE, {**COLD_12, **HOT_18, **HOT_29, "change hot": change("hot")}),
    "a result unsafe twice": (HEAD + COLD + HOT + UNSAFE_TWICE, {**COLD_12, **HOT_18, **HOT_29}),
    "a path to a cause": (
        HEAD + ANOTHER + item("more", 'yes_no = "either"', 'when = { "answer.another" = "yes", "cause.any" = "open" }')
        + item("end", 'yes_no = "either"') + CAUSES,
        {"change another": change("another")},
    ),
    "everything": (
        HEAD + READY + CHARGE + RESTS + SECOND + SETTLE + HOT + ANOTHER
        + LOOP.replace('"settle", "another"', '"settle", "hot", "another"') + RISE + QUESTION,
        {**INSIDE, **OUTSIDE, **COLD_12, **HOT_18, **HOT_29, **HOT_10, "change charge": change("charge")},
    ),
}  # fmt: skip
"""name -> plan, and the inputs that are its own"""
