"""Fits the second look on what was read (handsfree/language/second_look.py).

    python tests/bench/fit_second_look.py [--write] FILE.jsonl ...

Needs scikit-learn. Reads labelled utterances (tests/language/said and other files of the same
form; none of a speaker who is kept apart to judge by). Prints, each file judged by weights that
never saw it: how many notes that are read rightly and surely become doubtful, and how many that
are read wrongly and surely are caught. --write fits them all together and writes the weights.
"""

import argparse
import gzip
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
from scipy.sparse import csr_matrix
from sklearn.feature_extraction import DictVectorizer  # type: ignore
from sklearn.linear_model import LogisticRegression  # type: ignore

from handsfree.grammar import load
from handsfree.grammar.words import plain_words
from handsfree.language import second_look
from handsfree.language.second_look import FILE, LIKELY, UNLIKELY, features, things
from handsfree.language.spans import cut
from handsfree.language.tables import split_words
from handsfree.language.understand import Understanding
from handsfree.records.entries import Remark, to_json

LEAST = 8
"""So many utterances must tell a thing before it is learnt."""
FOLDS = 6
STRENGTH = 10.0
"""Inverse of the L2 penalty; 1 and 100 catch less for the same number of doubts."""
SMALL = 0.08
"""Weights nearer to nothing than this are left out."""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--apart", default="speaker 7", help="whose utterances are left out")
    chosen = parser.parse_args()
    rows = [
        (number, row)
        for number, file in enumerate(chosen.files)
        for row in map(json.loads, file.read_text(encoding="utf-8").splitlines())
        if "entries" in row and row.get("by") != chosen.apart
    ]
    understanding = Understanding(load())
    looked_at = [_features(understanding, row["text"]) for _, row in rows]
    told = [things(row["entries"]) for _, row in rows]
    vectors = DictVectorizer()
    matrix = csr_matrix(vectors.fit_transform([dict.fromkeys(each, 1) for each in looked_at]))
    often = np.flatnonzero(np.asarray((matrix > 0).sum(0)).ravel() >= 2)
    matrix, names = matrix[:, often], vectors.get_feature_names_out()[often]
    counts: dict[str, int] = {}
    for each in told:
        for thing in each:
            counts[thing] = counts.get(thing, 0) + 1
    learnt = sorted(thing for thing, count in counts.items() if count >= LEAST)
    answers = {thing: np.array([thing in each for each in told]) for thing in learnt}
    fold = np.array([number % FOLDS for number, _ in rows])
    _judge(understanding, rows, matrix, answers, fold)
    if chosen.write:
        _write(matrix, names, answers)


def _features(understanding: Understanding, text: str) -> set[str]:
    tables = understanding.tables
    words, _ = split_words(plain_words(text), tables.dialect)
    return features(words, cut(words, tables))


def _fitted(matrix: Any, answer: Any) -> Any:
    """The model of one thing, without the weights that hardly count."""
    model = LogisticRegression(C=STRENGTH, solver="liblinear").fit(matrix, answer)
    model.coef_[np.abs(model.coef_) < SMALL] = 0.0
    return model


def _judge(
    understanding: Understanding, rows: list[Any], matrix: Any, answers: dict[str, Any], fold: Any
) -> None:
    sys.path.insert(0, str(Path(__file__).parents[2]))
    from tests.language.test_speakers import is_right, is_wrong

    second_look.UNLIKELY, second_look.LIKELY = -1.0, 2.0
    odds = {thing: np.zeros(len(rows)) for thing in answers}
    for part in range(FOLDS):
        for thing, answer in answers.items():
            model = _fitted(matrix[fold != part], answer[fold != part])
            odds[thing][fold == part] = model.predict_proba(matrix[fold == part])[:, 1]
    right = doubted = wrong = caught = 0
    for at, (_, row) in enumerate(rows):
        reading = understanding.read(plain_words(row["text"]))
        if reading.meaning is None or reading.doubt:
            continue
        got = [
            to_json(s.entry) | {"limb": limb}
            for s in reading.meaning.statements
            if not isinstance(s.entry, Remark)
            for limb in s.limbs or (None,)
        ]
        has = things(got)
        surprising = any(
            (thing in has and odds[thing][at] < UNLIKELY)
            or (thing not in has and odds[thing][at] > LIKELY)
            for thing in answers
        )
        if got and is_right(row["entries"], got):
            right, doubted = right + 1, doubted + surprising
        elif is_wrong(row["entries"], got):
            wrong, caught = wrong + 1, caught + surprising
    print(
        f"right and sure: {doubted} of {right} become doubtful; wrong and sure: {caught} of {wrong}"
    )


def _write(matrix: Any, names: Any, answers: dict[str, Any]) -> None:
    bias, weights = {}, {}
    for thing, answer in answers.items():
        model = _fitted(matrix, answer)
        bias[thing] = round(float(model.intercept_[0]), 2)
        weights[thing] = {
            str(names[i]): round(float(w), 2) for i, w in enumerate(model.coef_[0]) if w
        }
    text = json.dumps({"bias": bias, "weights": weights}, separators=(",", ":"), sort_keys=True)
    FILE.write_bytes(gzip.compress(text.encode(), mtime=0))
    kept = sum(map(len, weights.values()))
    print(f"{len(answers)} things, {kept} weights, {FILE.stat().st_size} bytes")


if __name__ == "__main__":
    main()
