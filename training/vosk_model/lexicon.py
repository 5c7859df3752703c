"""Phones, pronunciations (American from the CMU dictionary, British by rule) and the numbering that the model file
uses."""

import re
from pathlib import Path

import espeak

PHONES39 = [
    "AA",
    "AE",
    "AH",
    "AO",
    "AW",
    "AY",
    "B",
    "CH",
    "D",
    "DH",
    "EH",
    "ER",
    "EY",
    "F",
    "G",
    "HH",
    "IH",
    "IY",
    "JH",
    "K",
    "L",
    "M",
    "N",
    "NG",
    "OW",
    "OY",
    "P",
    "R",
    "S",
    "SH",
    "T",
    "TH",
    "UH",
    "UW",
    "V",
    "W",
    "Y",
    "Z",
    "ZH",
]
BASE = ["SIL", *PHONES39]  # index of a base phone; its outputs are 2i (first frame) and 2i+1 (later frames)
INDEX = {p: i for i, p in enumerate(BASE)}
NPDF = 2 * len(BASE)
# phones of the decoding graph carry their place in the word (begin, internal, end, singleton)
GRAPH_PHONES = (
    ["<eps>", "SIL"] + [f"{p}_{s}" for p in PHONES39 for s in "BIES"] + ["SIL_I"]
)  # SIL_I: the CTC blank inside a word
GRAPH_ID = {p: i for i, p in enumerate(GRAPH_PHONES)}
VOWELS = {"AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"}

EXTRA = {  # words that the dictionary lacks, or says otherwise than our talkers
    "amps": ["AE M P S"],
    "milliamps": ["M IH L IY AE M P S"],
    "microamps": ["M AY K R OW AE M P S"],
    "ionisation": ["AY AH N AY Z EY SH AH N", "AY AH N IH Z EY SH AH N"],
    "kilohms": ["K IH L OW M Z", "K IH L OW OW M Z"],
    "megohms": ["M EH G OW M Z", "M EH G AH OW M Z"],
    "kilopascals": ["K IH L OW P AE S K AH L Z", "K IH L OW P AE S K AE L Z"],
    "pascals": ["P AE S K AH L Z", "P AE S K AE L Z"],
    "megajoules": ["M EH G AH JH UW L Z"],
    "microsiemens": ["M AY K R OW S IY M AH N Z"],
    "litre": ["L IY T ER"],
    "litres": ["L IY T ER Z"],
    "millibar": ["M IH L IY B AA R", "M IH L AH B AA R"],
    "millibars": ["M IH L IY B AA R Z", "M IH L AH B AA R Z"],
    "millivolts": ["M IH L IY V OW L T S"],
    "nought": ["N AO T"],
    "treble": ["T R EH B AH L"],
    "xray": ["EH K S R EY"],
    "metre": ["M IY T ER"],
    "metres": ["M IY T ER Z"],
    "z": ["Z IY", "Z EH D"],
    "a": ["EY", "AH"],
    "h": ["EY CH"],
    "juliet": ["JH UW L IY EH T"],
    "nil": ["N IH L"],
    "ohm": ["OW M"],
    "ohms": ["OW M Z"],
    "thirteen": ["TH ER T IY N"],
    "kilowatt": ["K IH L AH W AA T"],
    "kilowatts": ["K IH L AH W AA T S"],
    "degrees": ["D IH G R IY Z"],
    "quebec": ["K W AH B EH K", "K EH B EH K", "K AH B EH K"],
    "pressure": ["P R EH SH ER"],
    "zero": ["Z IH R OW", "Z IY R OW"],
    "oxygen": ["AA K S AH JH AH N"],
    "controls": ["K AH N T R OW L Z"],
}
BATH = {
    "half",
    "fast",
    "faster",
    "last",
    "past",
    "pass",
    "passed",
    "class",
    "glass",
    "after",
    "afternoon",
    "ask",
    "asked",
    "answer",
    "can't",
    "chance",
    "dance",
    "branch",
    "bath",
    "path",
    "grass",
    "plant",
    "staff",
    "draft",
    "sample",
    "example",
    "command",
    "commands",
    "demand",
    "castle",
    "laugh",
    "aunt",
    "advance",
    "rather",
    "master",
    "plaster",
    "task",
    "mask",
    "basket",
    "glance",
    "vast",
    "brass",
    "cast",
    "plants",
    "answers",
    "asking",
    "basin",
    "calf",
} - {"basin"}
BRITISH_EXTRA = {
    "z": ["Z EH D"],
    "new": ["N Y UW"],
    "due": ["D Y UW", "JH UW"],
    "november": ["N OW V EH M B AH"],
    "leisure": ["L EH ZH AH"],
    "ratio": ["R EY SH IY OW"],
    "zero": ["Z IH R OW", "Z IY R OW"],
    "lieutenant": ["L EH F T EH N AH N T"],
    "hertz": ["HH ER T S"],
    "tuesday": ["T Y UW Z D EY", "CH UW Z D EY"],
    "reduced": ["R IH D Y UW S T"],
    "golf": ["G AA L F"],
    "clerk": ["K L AA K"],
    "anti": ["AE N T IY"],
    "status": ["S T EY T AH S"],
    "schedule": ["SH EH D Y UW L"],
    "route": ["R UW T"],
    "herb": ["HH ER B"],
    "what": ["W AA T"],
    "was": ["W AA Z", "W AH Z"],
    "from": ["F R AA M"],
}


def british(word, pron):
    """A southern British pronunciation from an American one, or None if it stays the same."""
    p, n = [], len(pron)
    vowels = sum(x in VOWELS for x in pron)
    for i, x in enumerate(pron):
        nxt = pron[i + 1] if i + 1 < n else ""
        if (
            x == "ER"
            and vowels > 1
            and (i == n - 1 or (i == n - 2 and nxt in ("Z", "S", "D")))
            and not re.search(r"(ur|ir|er)n?[td]s?$", word)
        ):
            p.append("AH")
        elif x == "ER" and nxt in VOWELS:
            p += ["AH", "R"] if vowels > 2 else ["ER", "R"]
        elif x == "R" and i and pron[i - 1] in VOWELS and nxt not in VOWELS:
            if pron[i - 1] in ("IH", "IY", "UH"):
                p.append("AH")
        elif (x == "AE" and word in BATH) or (
            x == "AO" and nxt != "R" and "o" in word and not re.search(r"aw|au|ou|al|oa|or|ore", word)
        ):
            p.append("AA")
        else:
            p.append(x)
    return p if p != list(pron) else None


# What espeak-ng writes for an American voice, longest first, as phones; anything else (stress, length) is dropped.
IPA = {
    "tʃ": "CH", "dʒ": "JH", "aʊ": "AW", "aɪ": "AY", "eɪ": "EY", "oʊ": "OW", "əʊ": "OW", "ɔɪ": "OY", "əl": "AH L",
    "ɑ": "AA", "æ": "AE",
    "ʌ": "AH", "ə": "AH", "ɐ": "AH", "ɔ": "AO", "ɛ": "EH", "ɜ": "ER", "ɚ": "ER", "ɪ": "IH", "ᵻ": "IH", "i": "IY",
    "ʊ": "UH", "u": "UW",
    "a": "AE", "o": "OW", "e": "EH", "ɹ": "R", "r": "R", "ɾ": "T", "ŋ": "NG", "θ": "TH", "ð": "DH", "ʃ": "SH", "ʒ":
    "ZH", "j": "Y",
    "ɡ": "G", "x": "K", "b": "B", "d": "D", "f": "F", "h": "HH", "k": "K", "l": "L", "m": "M", "n": "N", "p": "P",
    "s": "S", "t": "T",
    "v": "V", "w": "W", "z": "Z",
}  # fmt: skip


def guess(words: list[str]) -> dict[str, list[str]]:
    """Pronunciations by espeak-ng's rules for words that the dictionary lacks."""
    found = {}
    for word, heard in zip(words, espeak.ipa(words, "us") if words else [], strict=True):
        phones = re.findall("|".join(IPA), heard)
        found[word] = [p for ipa in phones for p in IPA[ipa].split()]
    return {w: p for w, p in found.items() if p}


class Lexicon:
    """word -> American and British pronunciations; CMU dictionary plus the entries above."""

    def __init__(self, dictionary):
        self.us = {}
        for line in Path(dictionary).read_text(encoding="utf-8").splitlines():
            f = line.split()
            if len(f) > 1:
                self.us.setdefault(f[0].split("(")[0], []).append(f[1:])
        for w, ps in EXTRA.items():
            self.us.setdefault(w, [])
            for p in ps:
                if p.split() not in self.us[w]:
                    self.us[w].append(p.split())

    def add_guesses(self, words: list[str]) -> list[str]:
        """Guesses pronunciations for the words that it lacks, and says which."""
        lacking = sorted({w for w in words if w not in self.us})
        for word, phones in guess(lacking).items():
            self.us[word] = [phones]
        return lacking

    def __contains__(self, word):
        return word in self.us

    def get(self, word, accent="both"):
        """Pronunciations as lists of phones; accent us, gb or both."""
        us = self.us[word]
        gb = [british(word, p) or p for p in us] + [p.split() for p in BRITISH_EXTRA.get(word, [])]
        out = []
        for p in us if accent == "us" else gb if accent == "gb" else us + gb:
            if p not in out:
                out.append(p)
        return out
