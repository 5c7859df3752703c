"""Random utterances of the job: readings, digit strings, serials, dates, commands, near words and talk.

`python utterances.py COUNT SEED` prints some. The words come from the product's grammars (vosk_model/vocabulary.py).
"""

import random
import re
import sys
from collections.abc import Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "vosk_model"))
import vocabulary as v

SHORT = """yes no go done hold next back repeat stop skip wait start resume pause okay undo cancel yeah yep nope finish
finished continue help ready again mark now clear delete lap correct wrong louder slower""".replace("\n", " ").split(
    " "
)
GAS = """i can smell gas|smell of gas|i smell gas|there is a smell of gas|i can smell gas here|can smell gas
strong smell of gas|smells of gas in here|it smells of gas|gas leak|unsafe|not safe|immediately dangerous|at risk
that is unsafe|this is not safe|stop stop i can smell gas|i think i can smell gas""".replace("\n", "|").split("|")
# Words near to ours; true homophones ("won", "wait" and "weight") are left out: they would teach to doubt.
NEAR = """down on tree tenth ninth eighth seventh sixth fifth fourth gone guard gold code whole hole old told hello hero
near line mine fine find fire hive dive live sick fix mix late wait floor door more before fall ball tooth blue
shoe who chew a and an oh owe or all run someone once want ones sun son dumb gun ton tonne burn born turn learn
pointed joint pint appoint paint bars barn far car par part park heart mill milk million billion minute mini
present per cent degree agree decrees flow flue floor slow low blow glow return written turn in let outlet inlet
yesterday guess yet yell yellow west chess less nose snow now not note known nor north stock top shop stopped
starts star art stay tart text necks neck nest vest bat pack packed black track lack bag repeated complete
defeat skipping ship scoop keep kept hell held hole holding fold mold weighed resumed assume clause horse undone
under cancels counsel done it dawn don dan din den tin tenor tent attend heaven even given zeros hero row euro
serial sirius red kelp health marks dark bark clean dear elite lead leak lab lip flap gap cave away say eh hey
hay grey great""".replace("\n", " ").split(" ")
TALK = """pass me the {0} would you|can you hold the torch a second|i was on the phone with him for {n} minutes
she said she would be back before {n}|have you seen my {0} anywhere|the dog got out again this morning
put the kettle on love|he lives at number {n} down the road|did you watch the match last night they won {d} {d}
it cost me nearly {n} quid for the van|we moved in about {n} years ago|where does this {0} go then
i will be out of your way in a bit|mind the step on your way out|is it all right if i turn the water off
that one has been here since before my time|i told them about it at least {d} times|just give me a minute mate
is there a tap under the sink|they never wrote the {0} down|my daughter starts school on {day}
the traffic was terrible on the bypass|we had {d} people round for dinner|you can park on the drive if you like
there are {d} of them in the loft|who left this {0} here|could you sign here for me please
i think the neighbour has the same one|bring the {0} in from the van|it has been making a noise since {day}
no problem at all thanks very much|on the radio this morning they said rain|the next bus is at {n} past
one of these days i will fix that gate|he went down to the shop for some milk|go and ask your mother
i do not know what you mean|it was about {n} degrees in spain|hold on to the rail going down
that is the third time this week|i had two sugars in it|we are done with the old one you can have it
what time do you finish today|let me know when you are ready to go|stop that right now sit down
it stopped working about a week ago|i said yes to the first one who called|next door had theirs done last year""".replace(
    "\n", "|"
).split("|")
THINGS = """spanner hammer torch screwdriver bucket ladder sheet box key bag drill cloth pipe tape cup radio""".replace(
    "\n", " "
).split(" ")
TEN = [*v.ONES, "oh"]


def digit_string(r: random.Random) -> str:
    count = r.choice([1, 2, 3, 3, 4, 4, 5, 5, 6, 6, 7, 8, 8, 9, 10, 11])
    if r.random() < 0.25:
        return v.digits(r, count)
    zero = r.choice(["zero", "zero", "oh", "nought"])
    return " ".join(zero if d == "zero" else d for d in (r.choice(v.ONES) for _ in range(count)))


def reading_number(r: random.Random) -> str:
    """A number as instruments show it."""
    k = r.random()
    if k < 0.45:
        whole = v.below_hundred(r) if r.random() < 0.85 else "nought"
        return f"{whole} point {' '.join(r.choice(TEN) for _ in range(r.choice([1, 1, 1, 2, 2, 3, 4])))}"
    return v.below_hundred(r) if k < 0.7 else v.number(r)


def contrast(r: random.Random) -> str:
    """Numbers and endings that are taken for each other in noise."""
    ones, teens, tens = r.choice(v.ONES[1:]), r.choice(v.TEENS[3:]), r.choice(v.TENS)
    number = r.choice(
        [
            teens,
            tens,
            f"{tens} {ones}",
            f"{r.choice(TEN)} point {r.choice(TEN)}",
            f"{r.choice(TEN)} {r.choice(TEN)}",
            f"{ones} hundred",
            f"{ones} hundred and {r.choice([teens, tens])}",
            f"{teens} point {r.choice(TEN)} {r.choice(TEN)}",
            f"{tens} point {r.choice(TEN)}",
            f"{r.choice([teens, tens])} {r.choice([teens, tens])}",
        ]
    )
    if r.random() < 0.3:
        number = " ".join(
            r.choice(["oh", "eight", "two", "one", "nine", "five", "four"]) for _ in range(r.randint(2, 5))
        )
    k = r.random()
    if k < 0.4:
        return number
    return number + " " + r.choice(["bar", "five", "secs", "six", "seconds", "volts", "four", "c", "k", "amps", "ohms"])


def serial(r: random.Random) -> str:
    def letter() -> str:
        return r.choice(v.LETTERS) if r.random() < 0.7 else r.choice(v.ICAO)

    parts = [letter() if r.random() < r.choice([0.2, 0.5, 0.8]) else r.choice(TEN) for _ in range(r.randint(2, 9))]
    return " ".join(parts)


def date_or_time(r: random.Random) -> str:
    k = r.random()
    if k < 0.5:
        year = ["", "", " twenty " + v.below_hundred(r), " two thousand and " + r.choice(v.TEENS)]
        return v.date(r) + r.choice(year)
    if k < 0.6:
        return r.choice(v.DAYS)
    hour, minute = r.choice(v.ONES[1:] + v.TEENS[:3]), r.choice([*v.TEENS, *v.TENS, "oh five", "forty five", "fifteen"])
    return r.choice(
        [f"{hour} {minute}", f"{hour} o'clock", f"half past {hour}", f"quarter to {hour}", f"{hour} {minute} p m"]
    )


def talk(r: random.Random, lines: Sequence[str]) -> str:
    if lines and r.random() < 0.6:
        words = r.choice(lines).split()
        at = r.randrange(max(1, len(words) - 4))
        return " ".join(words[at : at + r.randint(2, 11)])
    day, number = r.choice(v.DAYS[:7]), v.below_hundred(r)
    said = r.choice(TALK).format(r.choice(THINGS), n=number, d=r.choice(v.ONES), day=day)
    words = said.split()
    return said if r.random() < 0.7 else " ".join(words[: r.randint(1, len(words))])


def utterance(r: random.Random, general: Sequence[str], lines: Sequence[str]) -> str:
    k = r.random()
    quantity, unit = r.choice(v.QUANTITY_PHRASES), r.choice(v.UNIT_PHRASES)
    if k < 0.17:
        said = digit_string(r)
    elif k < 0.35:
        joint = r.choice([" ", " ", " ", " is ", " reading ", " equals ", " at "])
        said = quantity + joint + reading_number(r) + (" " + unit if r.random() < 0.7 else "")
    elif k < 0.41:
        said = reading_number(r) + " " + unit
    elif k < 0.45:
        said = reading_number(r)
    elif k < 0.52:
        said = contrast(r)
    elif k < 0.58:
        said = r.choice(SHORT)
    elif k < 0.66:
        said = r.choice(v.COMMAND_PHRASES)
    elif k < 0.70:
        said = r.choice(v.COMMAND_PHRASES) + " " + r.choice([quantity, quantity, reading_number(r)])
    elif k < 0.76:
        said = serial(r)
    elif k < 0.79:
        said = date_or_time(r)
    elif k < 0.82:
        said = r.choice(GAS)
    elif k < 0.88:
        said = r.choice(NEAR) if r.random() < 0.75 else " ".join(r.choice(NEAR) for _ in range(r.randint(2, 4)))
    elif k < 0.965:
        said = talk(r, lines)
    else:
        said = " ".join(r.choice(general) for _ in range(r.randint(1, 5)))
    return re.sub(r"\bxray\b", "x ray", said)


if __name__ == "__main__":
    rng = random.Random(int(sys.argv[2]))
    for _ in range(int(sys.argv[1])):
        print(utterance(rng, ["kettle"], []))
