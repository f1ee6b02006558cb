"""One figure for how sure a hearing is: what the file may hold, and which way it moves."""

import math

import pytest

from handsfree.engines import confidence
from handsfree.engines.confidence import Case, Confidence, Feature, load
from handsfree.errors import EngineError

GOOD = """\
[agree]
base = 2.0
lowest = 0.01
highest = 0.99
lead = { weight = 0.5, typical = 1.0, low = -3.0, high = 3.0 }
"""

BETTER = ("fit_neural", "fit_sphinx", "lead", "neural_of", "neural_lead", "written")
BETTER += ("share", "fit_written", "over_strict", "echoed")
BETTER += ("pocketsphinx_of", "pocketsphinx_lead", "neural_first", "pocketsphinx_first", "snr_db")
WORSE = ("bend", "unread")


@pytest.fixture(scope="module")
def fitted() -> Confidence:
    return load()


def test_the_fitted_file_has_every_case(fitted):
    listened = {"agree", "differ", "alone-neural", "alone-pocketsphinx", "written"}
    assert set(fitted.cases) == listened


@pytest.mark.parametrize("value", [-math.inf, -1000.0, -1.0, 0.0, 1.0, 1000.0, math.inf, math.nan])
def test_it_is_always_a_probability(fitted, value):
    for name, case in fitted.cases.items():
        known = dict.fromkeys(case.features, value)
        assert 0.0 <= case.lowest <= fitted.of(name, known) <= case.highest <= 1.0


def test_better_evidence_never_makes_it_less_sure(fitted):
    for name, case in fitted.cases.items():
        for feature in case.features:
            values = [fitted.of(name, {feature: x / 4}) for x in range(-40, 41)]
            if feature in BETTER:
                assert values == sorted(values), (name, feature)
            if feature in WORSE:
                assert values == sorted(values, reverse=True), (name, feature)


def test_agreement_is_surer_than_either_alone_and_than_difference(fitted):
    typical = {name: fitted.of(name, {}) for name in fitted.cases}
    assert typical["agree"] == max(typical.values())
    assert typical["differ"] == min(typical.values())
    assert typical["agree"] > 0.9


def test_what_is_not_known_counts_as_typical(fitted):
    for name, case in fitted.cases.items():
        all_typical = {key: feature.typical for key, feature in case.features.items()}
        assert fitted.of(name, all_typical) == pytest.approx(fitted.of(name, {}))
        assert fitted.of(name, dict.fromkeys(case.features)) == fitted.of(name, {})
        assert fitted.of(name, {"no such feature": 5.0}) == fitted.of(name, {})


def test_it_says_why():
    features = {"small": Feature(0.1, 0.0, -1.0, 1.0), "large": Feature(-2.0, 0.5, 0.0, 1.0)}
    made = Confidence({"case": Case(0.0, 0.0, 1.0, features)})
    because = made.because("case", {"small": 9.0, "large": 1.0})
    assert list(because.items()) == [("large", -1.0), ("small", 0.1)]
    assert made.of("case", {"small": 9.0, "large": 1.0}) == pytest.approx(1 / (1 + math.exp(0.9)))


def test_a_file_is_read(tmp_path):
    path = tmp_path / "c.toml"
    path.write_text(GOOD)
    read = load(path)
    assert read.of("agree", {}) == pytest.approx(1 / (1 + math.exp(-2.0)))
    assert read.of("agree", {"lead": 100.0}) == pytest.approx(1 / (1 + math.exp(-3.0)))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "holds no case"),
        ("[agree", "is no TOML"),
        ("agree = 3", "[agree] is no table"),
        (GOOD.replace("base = 2.0\n", ""), "[agree] base is no number"),
        (GOOD.replace("base = 2.0", "base = true"), "[agree] base is no number"),
        (GOOD.replace("base = 2.0", "base = nan"), "[agree] base is no number"),
        (GOOD.replace("highest = 0.99", "highest = 1.5"), "within 0..1"),
        (GOOD.replace("lowest = 0.01", "lowest = 0.995"), "in order"),
        (GOOD.replace("weight = 0.5, ", ""), "lead needs just weight, typical, low, high"),
        (GOOD.replace("weight = 0.5", "wait = 0.5"), "lead needs just"),
        (GOOD.replace("weight = 0.5", 'weight = "much"'), "[agree] lead weight is no number"),
        (GOOD.replace("low = -3.0", "low = 4.0"), "lead: low is above high"),
    ],
)
def test_a_wrong_file_is_named_with_the_reason(tmp_path, text, said):
    path = tmp_path / "wrong.toml"
    path.write_text(text)
    with pytest.raises(EngineError) as caught:
        load(path)
    assert "wrong.toml" in str(caught.value)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value).split("is no TOML")[0]


def test_a_missing_file_and_one_that_is_no_text_are_named(tmp_path):
    with pytest.raises(EngineError, match=r"absent\.toml: cannot be read"):
        load(tmp_path / "absent.toml")
    bad = tmp_path / "bad.toml"
    bad.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(EngineError, match=r"bad\.toml: is no TOML"):
        load(bad)


def test_the_file_lies_beside_the_module():
    assert confidence.FILE.is_file()
