"""Respelling the grammar's words for a model and spelling back what it heard."""

from handsfree.engines.base import HeardWord
from handsfree.engines.vosk_words import Spelling

MODEL = {"left", "hind", "heel", "fet", "lock", "hawk", "hock", "sulk", "us", "[unk]"}


def spelling(words: str, **respellings: list[str]) -> Spelling:
    return Spelling(words.split(), respellings, MODEL.__contains__)


def heard(text: str) -> list[HeardWord]:
    return [HeardWord(word, n, n + 1, 0.5 + n / 10) for n, word in enumerate(text.split())]


def back(spelled: Spelling, text: str) -> str:
    return " ".join(word.text for word in spelled.back(heard(text)))


def test_a_word_the_model_has_is_not_respelled() -> None:
    made = spelling("hock", hock=["hawk"])
    assert made.phrases(["hock"]) == ["hock"]
    assert back(made, "hawk hock") == "hawk hock"


def test_a_word_it_lacks_is_respelled_and_spelled_back() -> None:
    made = spelling("left fetlock", fetlock=["fetlok", "fet lock"])
    assert made.missing == ()
    assert made.phrases(["left fetlock"]) == ["left fet lock"]
    joined = made.back(heard("left fet lock"))
    assert joined == (HeardWord("left", 0, 1, 0.5), HeardWord("fetlock", 1, 3, 0.6))
    assert back(made, "lock fet lock fet") == "lock fetlock fet"


def test_sureness_may_be_unknown() -> None:
    made = spelling("fetlock", fetlock=["fet lock"])
    assert made.back([HeardWord("fet"), HeardWord("lock")]) == (HeardWord("fetlock"),)


def test_missing_words_are_named_and_cut_phrases() -> None:
    made = spelling("left hind heel pastern sulcus fetlock", fetlock=["fet lok"])
    assert made.missing == ("fetlock", "pastern", "sulcus")
    assert made.phrases(["left hind pastern heel", "pastern", "left hind"]) == ["left hind", "heel"]


def test_words_in_no_phrase_are_added_alone() -> None:
    assert spelling("left hind heel").phrases(["left hind"]) == ["left hind", "heel"]


def test_a_respelling_that_is_a_word_of_the_grammar_is_passed_over() -> None:
    made = spelling("hawk hok", hok=["hawk", "lock"])
    assert back(made, "hawk lock") == "hawk hok"


def test_two_words_do_not_share_a_respelling() -> None:
    made = spelling("fetlock fetlok", fetlock=["fet lock"], fetlok=["fet lock"])
    assert made.missing == ("fetlok",)


def test_the_longest_respelling_wins() -> None:
    made = spelling("fett fetlock", fett=["fet"], fetlock=["fet lock"])
    assert back(made, "fet fet lock") == "fett fetlock"


def test_the_unknown_mark_is_no_word() -> None:
    assert spelling("left [unk]").missing == ("[unk]",)
