"""What holds of the reader whatever is said. Words that break it are named, each with a reason."""

import itertools
import random
import re
import tomllib
from collections import defaultdict

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from handsfree.grammar.grammar import folder
from handsfree.grammar.meaning import Meaning
from handsfree.grammar.words import plain_words
from handsfree.language.tables import read_tables, split_words
from handsfree.records.entries import to_json

from .rows import GRAMMAR, UNDERSTANDING, Read, read, rows

TABLES = read_tables(folder() / "said")
NOTES = [
    s.text for s in rows() if s.row.get("says") and not {"expected_fail", "after"} & s.row.keys()
]


# 1. Talk words at either end


def _small_words() -> list[str]:
    with (folder() / "said" / "talk.toml").open("rb") as file:
        return list(dict.fromkeys(tomllib.load(file)["nothing"]["small"].split()))


MEAN_SOMETHING = {
    word
    for word in _small_words()
    if any(c.kind not in ("moving", "talk") for c in TABLES.phrases.get((word,), ()))
}
"""Words of the list that a table gives a meaning of their own as well ("old", "no", "behind")."""

MEANT = {
    "what follows is a question to somebody, so no note": """what's could should may are is was were
        has have do does did will would can shall""",
    "what follows is not done yet": "might",
    "they deny, as 'can't' and 'didn't' do": "cannae dinnae didnae",
    "a number, or what one is of": """one one's fortnight mm day days week weeks month months degree
        hand's point""",
    "a foot, or a foot beside the one spoken of": "left's front's near rear other",
    "a word more and it is no longer 'in front' or 'behind'": "of the his",
    "with the word beside it it says another thing ('all right', 'coming right', 'to touch')": """
        all come coming nearly to above greasy scabby re staying""",
}
SMALL = [
    word
    for word in _small_words()
    if word not in MEAN_SOMETHING and word not in " ".join(MEANT.values()).split()
]


def says(meaning: Meaning | None) -> list[tuple[dict, tuple[str, ...]]]:
    """The records of a meaning, without words that are kept as they are said."""
    found = []
    for statement in meaning.statements if meaning else ():
        body = {k: v for k, v in to_json(statement.entry).items() if k not in ("text", "detail")}
        found.append((body, statement.limbs))
    return found


def _with(word: str, place: str, note: str) -> list[str]:
    return [word, *note.split()] if place == "first" else [*note.split(), word]


def changes(word: str, place: str, note: str) -> bool:
    """Whether a word at an end of an utterance changes what is recorded."""
    longer = UNDERSTANDING.read(_with(word, place, note)).meaning
    return says(longer) != says(UNDERSTANDING.read(note.split()).meaning)


@given(st.sampled_from(SMALL), st.sampled_from(["first", "last"]), st.sampled_from(NOTES))
@settings(max_examples=600, deadline=None)
def test_a_talk_word_at_either_end_changes_no_entry(word: str, place: str, note: str) -> None:
    assert not changes(word, place, note)


@pytest.mark.parametrize(
    ("word", "place", "note"),
    [
        ("oh", "first", "no heat in either front foot"),
        ("och", "first", "no corns no bruises in the off fore"),
        ("ach", "first", "no thrush in any of them this time"),
        ("ought", "last", "he won't put that off hind to the floor"),
        ("couple", "first", "heels are contracted in front"),
        ("summat", "last", "her near hind has a bruise in the sole"),
        *[
            (word, "first", "trimmed the hinds and left them bare")
            for word in "from where since because cos until till".split()
        ],
        ("before", "last", "thrush in all four feet"),
        ("another", "last", "the near hind shoe has shifted out"),
        ("rest", "last", "the near hind shoe has shifted out"),
        ("lot", "last", "the near hind shoe has shifted out"),
        ("touching", "last", "i've pricked him left front inside toe"),
        ("studied", "first", "put six in the off hind"),
        ("doctor's", "first", "bruise on the sole size of a fifty pence left front"),
        ("already", "last", "that abscess in the near fore has gone"),
        ("a", "last", "that abscess in the near fore has gone"),
        ("pointing", "first", "that abscess in the near fore has gone"),
    ],
)
def test_talk_words_that_once_changed_an_entry(word: str, place: str, note: str) -> None:
    assert not changes(word, place, note)


def test_most_of_the_list_is_talk() -> None:
    assert len(SMALL) > 0.8 * len(_small_words())


# 2. A finding that is denied

DENIES = frozenset(
    """no not nae never none nothing nowt without hardly little barely cannot isnt aint
    n't na nae""".split()
)
TERMS = [form for word in GRAMMAR.table if word.slot == "term" for form in word.forms]
SAID_TERMS = sorted(
    " ".join(phrase)
    for phrase, concepts in TABLES.phrases.items()
    if any(c.kind == "term" for c in concepts)
    # "No, he can't put it down" answers; phrases that deny themselves are not denied again.
    and not any(w in DENIES or re.search("n't$|nae$|not$", w) for w in phrase)
    and phrase[0] != "i"
)


@given(
    st.sampled_from(TERMS) | st.sampled_from(SAID_TERMS),
    st.sampled_from([("left fore", ""), ("", "off hind"), ("", "")]),
)
@settings(max_examples=400, deadline=None)
def test_no_before_a_finding_never_leaves_it_as_sure_as_it_was(term: str, around) -> None:
    before, after = around
    plain = read(f"{before} {term} {after}".strip())
    assume(plain.entries and plain.sure)
    denied = read(f"{before} no {term} {after}".strip())
    assert denied.entries != plain.entries or not denied.sure


# 3. The order of the parts

LIMBS = [form for word in GRAMMAR.table if word.slot == "limb" for form in word.forms]
SIDES = [form for word in GRAMMAR.table if word.slot == "side" for form in word.forms]
ZONES = [
    form
    for word in GRAMMAR.table
    # What is at the back or the shoulder is the horse's, on no foot; a clip is of the shoe as well.
    if word.slot == "zone" and word.id not in ("back", "shoulder", "clip")
    for form in word.forms
]
RUN_TOGETHER = {
    r"front (hoof )?wall": "'off front wall' is read as the front wall, and the foot is lost",
    r"\bcut (off|all)\b": "'cut off hind' is read as what is cut off",
    r"\bhairline crack": "a fine crack, not one at the hairline",
    r"\bwall missing\b": "a missing wall, not a missing nail",
}
"""Parts that say something else where they stand side by side."""
OF_TWO_TRADES = {"high side", "cut", "separation", "clear", "wear", "worn", "mites", "greasy heel"}
"""What is a verb, a measure or part of another name beside some word: there the order tells."""
SAID_TWICE = {("toe", "seedy toe"), ("wall", "separation")}
"""A place that the finding names already; only a sentence of the grammar keeps it."""


def as_set(said: Read) -> list[str]:
    return sorted(str(sorted(entry.items(), key=str)) for entry in said.entries)


@given(
    st.sampled_from(LIMBS), st.sampled_from(SIDES), st.sampled_from(ZONES), st.sampled_from(TERMS)
)
@settings(max_examples=60, deadline=None)
def test_the_parts_of_a_note_may_come_in_any_order(
    limb: str, side: str, zone: str, term: str
) -> None:
    assume(not any(place in zone and term == found for place, found in SAID_TWICE))
    assume(term not in OF_TWO_TRADES)
    usual = as_set(read(f"{limb} {side} {zone} {term}"))
    for order in itertools.permutations((limb, side, zone, term)):
        text = " ".join(order)
        if not any(re.search(pattern, text) for pattern in RUN_TOGETHER):
            assert as_set(read(text)) == usual, text


def test_no_foot_is_lost_to_the_front_wall() -> None:
    (entry,) = read("inside off front wall corns").entries
    assert entry["limb"] == "RF"


# 4. Word salad

NUMBER_WORDS = "one two three four five seven ten fifteen twenty fifty half quarter point".split()
SALAD = [
    sorted(TABLES.words),
    sorted(
        {
            word
            for phrase, concepts in TABLES.phrases.items()
            if len(phrase) <= 2 and any(c.kind not in ("talk", "to_others") for c in concepts)
            for word in phrase
        }
    )
    + 20 * NUMBER_WORDS,
]
FRONT, HIND = "fore front before", "hind back rear"
NAMED_BY = {"LF": FRONT, "RF": FRONT, "LH": HIND, "RH": HIND}
"""Words that name feet besides the limbs' names: "the back clinches", "before and behind"."""
SAME_FINDING = {"clear": "usual", "raised_pulse": "pulse", "dish": "winging"}
"""What a finding may also be told by: "sole's grand", "pulses", a fetlock that dishes."""
NUMBERS = ("value", "count", "weeks", "below_hairline_mm", "extent_mm", "scale_grade")


def may_mean(words: list[str]) -> tuple[dict[str, set[str]], bool]:
    """Every id that a run of the words may stand for, by kind; whether a number is among them."""
    split, _ = split_words(words, TABLES.dialect)
    ids: dict[str, set[str]] = defaultdict(set)
    number = False
    for at in range(len(split)):
        number = number or TABLES.numbers.at(split, at) is not None
        for end in range(at + 1, min(len(split), at + TABLES.starts.get(split[at], 0)) + 1):
            for concept in TABLES.phrases.get(tuple(split[at:end]), ()):
                ids[concept.kind].add(concept.id)
                for slot, value in concept.adds:
                    ids[slot].add(value)
    for state in ids["state"]:
        ids["term"] |= {made.term for made in TABLES.made.get(state, ())}
        slot, value = TABLES.adds.get(state, ("", ""))
        ids[slot].add(value)
    ids["term"] |= {"clear"} if ids["clear"] else set()
    ids["term"] |= {"lameness"} if ids["sound"] or ids["of_five"] else set()
    ids["term"] |= ids["scale"]
    told = ids["state"] | ids["thing"] | ids["term"]
    ids["term"] |= {term for term, by in SAME_FINDING.items() if by in told}
    ids["feet"] = {foot for limb in ids["limb"] for foot in limb.split("+")}
    ids["feet"] |= {f for f, names in NAMED_BY.items() if set(names.split()) & set(split)}
    return ids, number


def not_said(words: list[str]) -> list[str]:
    """What is surely recorded of these words that none of them says."""
    reading, said = UNDERSTANDING.read(words), read(" ".join(words))
    # Misheard words are bent into sentences by the grammar, a price for each.
    if not said.sure or reading.words != reading.heard:
        return []
    ids, number = may_mean(words)
    found = []
    for entry in said.entries:
        side, zone, term, limb = (entry.get(k) for k in ("side", "zone", "term", "limb"))
        if limb and limb not in ids["feet"] and not ids["relative"]:
            found.append(f"limb {limb}")
        if side and side not in ids["side"] and not ids["side"] & {"both", "same"}:
            found.append(f"side {side}")
        if zone and zone not in ids["zone"]:
            found.append(f"zone {zone}")
        if term and term not in ids["term"]:
            found.append(f"term {term}")
        # "The nail", "pulled it out": one nail, without a number.
        one_nail = entry["kind"] == "nails" and entry.get("count") == 1
        if not number and not one_nail and any(entry.get(key) is not None for key in NUMBERS):
            found.append("a number")
    return found


@pytest.mark.parametrize("pool", SALAD, ids=["of all words", "of the trade"])
def test_word_salad_gives_nothing_that_was_not_said(pool: list[str]) -> None:
    rng = random.Random(1)
    said = [[rng.choice(pool) for _ in range(rng.randint(1, 9))] for _ in range(1500)]
    assert [(" ".join(words), wrong) for words in said if (wrong := not_said(words))] == []


# 5. Anything at all


@given(st.text())
@example("l'l's't'")
@example("''''")
@example("t'")
@example("o o o 0 00 ٣ ² ½ 16.1 3/8")
@example("İ ﬁ ß \u0000 \ud7ff")
@settings(max_examples=400, deadline=None)
def test_no_text_raises(text: str) -> None:
    UNDERSTANDING.read(plain_words(text))
    UNDERSTANDING.read(text.lower().split())


@given(st.lists(st.sampled_from(SALAD[1]) | st.text(max_size=4), max_size=30))
@settings(max_examples=400, deadline=None)
def test_no_words_raise(words: list[str]) -> None:
    UNDERSTANDING.read(words)


@pytest.mark.parametrize(
    "phrase", ["left fore thrush", "and", "no sorry", "one half", "remark", "x" * 5000, "the other"]
)
def test_very_long_utterances_are_read(phrase: str) -> None:
    UNDERSTANDING.read(phrase.split() * 60)
