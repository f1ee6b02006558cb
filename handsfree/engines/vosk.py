"""The Vosk listener: a Kaldi recognizer steered by the grammar's phrases.

Vosk builds a bigram model from the phrases it is given, so they are hints and not rules:
it also answers with their words in other orders. What it hears is returned as heard, and
whoever uses it must check it against the grammar.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from handsfree.engines.base import SAMPLE_RATE, Clip, HeardWord, Hearing, Hypothesis, Sound, pcm16
from handsfree.engines.vosk_model import check_model
from handsfree.engines.vosk_words import UNKNOWN, Spelling
from handsfree.errors import EngineError
from handsfree.grammar.acceptor import Acceptor


@lru_cache(maxsize=2)
def _load(folder: Path) -> Any:
    """The model in the folder, loaded once a process; recognizers share it over threads."""
    check_model(folder)
    try:
        import vosk
    except ImportError as error:
        raise EngineError("Vosk is not installed; install the package vosk") from error
    except OSError as error:
        raise EngineError(f"Vosk's library cannot be loaded here: {error}") from error
    vosk.SetLogLevel(-1)
    try:
        model = vosk.Model(str(folder))
        # A graph cut short is only reported here: with a grammar the library would crash.
        vosk.KaldiRecognizer(model, float(SAMPLE_RATE))
    except Exception as error:  # the library raises nothing more exact
        raise EngineError(
            f"Vosk model {folder}: cannot be loaded, it may be incomplete; fetch or copy it again"
        ) from error
    return model


class VoskListener:
    """Hears clips with one model and one grammar; safe to use from several threads.

    `phrases` are sentences or parts of them, words separated by spaces, from which Vosk
    learns which words follow one another; words of `acceptor` that are in no phrase are
    added alone. `respellings` maps a word to spellings of it, the better ones first, made
    of words a model is likelier to have ("fetlock": ["fet lock"]); one is used where the
    model lacks the word, and what is heard is spelled back. `alternatives` is how many
    ways to hear a clip are looked for; more than one costs a second decoding.

    Raises EngineError when the library or the model cannot be used, or the model knows
    none of the grammar's words.
    """

    name = "vosk"

    def __init__(
        self,
        acceptor: Acceptor,
        phrases: Sequence[str],
        respellings: Mapping[str, Sequence[str]],
        model_dir: Path,
        alternatives: int = 3,
    ) -> None:
        self._model = _load(Path(model_dir).expanduser().resolve())
        self._alternatives = alternatives
        words = {*acceptor.vocabulary, *(word for phrase in phrases for word in phrase.split())}
        self._spelling = Spelling(words, respellings, self._knows)
        self.missing_words: tuple[str, ...] = self._spelling.missing
        """Words of the grammar that this model cannot hear in any spelling, sorted."""
        known = self._spelling.phrases(phrases)
        if not known:
            raise EngineError(f"Vosk model {model_dir}: it knows none of the grammar's words")
        if self._knows(UNKNOWN):
            known.append(UNKNOWN)
        # Not escaped to ASCII: the library does not read \u escapes. Never empty and always a
        # list of strings: anything else makes it crash.
        self._grammar = json.dumps(known, ensure_ascii=False)

    def _knows(self, word: str) -> bool:
        return bool(self._model.vosk_model_find_word(word) >= 0)

    def _recognizer(self, alternatives: int = 0) -> Any:
        """A fresh recognizer: cheap (about 10 ms for 5,000 phrases), and times begin at 0."""
        import vosk

        recognizer = vosk.KaldiRecognizer(self._model, float(SAMPLE_RATE), self._grammar)
        recognizer.SetWords(True)
        recognizer.SetMaxAlternatives(alternatives)
        return recognizer

    def hear(self, clip: Clip) -> Hearing:
        """Recognise the clip as recorded (`clip.raw`).

        The best hypothesis has word times and the engine's word confidences as sureness;
        these are often 1 for wrong words. Scores are the engine's (scaled log likelihoods
        of the clip, higher is better), 0 without alternatives. `margin` is always 0 and
        `accepted` only says that some word was heard: Vosk does no free decoding.
        """
        pcm = pcm16(clip.raw)
        best = self._words(json.loads(self._decode(pcm, 0)).get("result", ()))
        if not _has_word(best):
            return _hearing(())
        others = self._others(pcm) if self._alternatives > 1 else {}
        text = " ".join(word.text for word in best)
        # The best path has the least expected word errors; it need not be the likeliest.
        score = (
            others[text].score
            if text in others
            else max((each.score for each in others.values()), default=0.0)
        )
        rest = [each for key, each in others.items() if key != text]
        return _hearing((Hypothesis(best, score), *rest))

    def _decode(self, pcm: bytes, alternatives: int) -> str:
        recognizer = self._recognizer(alternatives)
        # In one piece, so that an end of speech found inside the clip does not split it.
        recognizer.AcceptWaveform(pcm)
        return str(recognizer.FinalResult())

    def _others(self, pcm: bytes) -> dict[str, Hypothesis]:
        found = json.loads(self._decode(pcm, self._alternatives)).get("alternatives", ())
        others: dict[str, Hypothesis] = {}
        for each in found:
            hypothesis = Hypothesis(self._words(each.get("result", ())), float(each["confidence"]))
            if _has_word(hypothesis.words) and hypothesis.text not in others:
                others[hypothesis.text] = hypothesis
        return others

    def _words(self, result: Iterable[Mapping[str, Any]]) -> tuple[HeardWord, ...]:
        heard = [HeardWord(w["word"], w["start"], w["end"], w.get("conf")) for w in result]
        return self._spelling.back(heard)

    def stream(self) -> "VoskStream":
        """Begin to hear an utterance block by block, for showing its words as they come."""
        return VoskStream(self)


class VoskStream:
    """One utterance heard while it is spoken. Use by one thread; not usable after finish."""

    def __init__(self, listener: VoskListener) -> None:
        self._listener = listener
        self._recognizer = listener._recognizer()
        self._settled: list[HeardWord] = []

    def accept(self, block: Sound) -> str:
        """Take the next block (mono, 16 kHz, any length); returns the text so far.

        The last words of it may still change.
        """
        if self._recognizer.AcceptWaveform(pcm16(block)):
            self._settle(self._recognizer.Result())
            live = ""
        else:
            live = json.loads(self._recognizer.PartialResult()).get("partial", "")
        words = self._listener._spelling.back([HeardWord(word) for word in live.split()])
        return " ".join(word.text for word in [*self._settled, *words] if word.text != UNKNOWN)

    def finish(self) -> Hearing:
        """End the utterance; the hearing is as of `VoskListener.hear`, without alternatives.

        Times are seconds from the first block.
        """
        self._settle(self._recognizer.FinalResult())
        if not _has_word(self._settled):
            return _hearing(())
        return _hearing((Hypothesis(tuple(self._settled), 0.0),))

    def _settle(self, result: str) -> None:
        self._settled += self._listener._words(json.loads(result).get("result", ()))


def _hearing(hypotheses: tuple[Hypothesis, ...]) -> Hearing:
    return Hearing("vosk", hypotheses, margin=0.0, accepted=bool(hypotheses))


def _has_word(words: Iterable[HeardWord]) -> bool:
    return any(word.text != UNKNOWN for word in words)
