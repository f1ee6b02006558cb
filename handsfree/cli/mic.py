"""`handsfree mic`: is this microphone good enough? Half a minute, real recognizers."""

import json
import random
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

import click
from rich.console import Console
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from handsfree.audio.activity import activity
from handsfree.audio.devices import c_libraries_silenced, choose, devices
from handsfree.audio.level import Level, LevelMeter, level_verdict, noise_verdict, windy
from handsfree.audio.live import IDLE_S, Replay, Source, Trouble
from handsfree.audio.microphone import Microphone
from handsfree.audio.speech import cut
from handsfree.cli.options import engine_options
from handsfree.cli.screen import console, safe
from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.engines.choose import TEXT, ModelFolders, listeners
from handsfree.engines.together import Together
from handsfree.errors import ExitCode
from handsfree.grammar.grammar import Grammar, load
from handsfree.grammar.meaning import Meaning
from handsfree.records.entries import Entry, Finding, Measurement, Nails
from handsfree.records.limbs import LIMBS
from handsfree.records.units import MM_PER_UNIT, to_mm
from handsfree.voice.readings import WAIT_S as PHRASE_S

QUIET_S = 3.0
_RULES = ("marked", "nails", "foot-number", "work", "shoe")
_SEED = 12
_LONGEST_S = 120.0
_TELEPHONE_HZ = 8000
_OTHER = "with 'handsfree mic --list', and name another with --device."


@dataclass(frozen=True)
class Phrase:
    """Something to say, and what it means."""

    words: tuple[str, ...]
    meaning: Meaning

    @property
    def text(self) -> str:
        """The words in one line."""
        return " ".join(self.words)


def phrases(grammar: Grammar, seed: int = _SEED) -> list[Phrase]:
    """Five sentences of the grammar, one of each common kind, the same at every run."""
    rng = random.Random(seed)
    limbs = [word.forms[0] for word in grammar.table if word.slot == "limb" and word.id in LIMBS]
    return [_phrase(grammar, rng, rule, limbs) for rule in _RULES]


def _phrase(grammar: Grammar, rng: random.Random, rule: str, limbs: list[str]) -> Phrase:
    while True:
        sentence, _ = grammar.generate(rng, rule)
        words = (*rng.choice(limbs).split(), *sentence.words)
        meanings = grammar.meanings(words) if 4 <= len(words) <= 6 else []
        if meanings and _likely(meanings[0].statements[0].entry):
            return Phrase(words, meanings[0])


def _likely(entry: Entry) -> bool:
    """Whether a farrier may say it; of twenty nails or zero inches he does not speak."""
    match entry:
        case Nails(count=count):
            return count is not None and 2 <= count <= 8
        case Measurement(value=value, unit=unit):
            return value is not None and unit in MM_PER_UNIT and 40 <= to_mm(value, unit) <= 140
        case Finding(zone=zone, term=term):
            return zone is not None and term is not None
    return True


@dataclass
class _Trial:
    """Follows the sound through the test: some quiet, then one phrase after another."""

    source: Source
    wanted: list[Phrase]
    out: Console
    seconds: float = 0.0
    heard: list[str | None] = field(default_factory=list)
    """What was heard for each phrase so far; None where nothing was."""
    right: list[bool] = field(default_factory=list)
    sounds: list[Sound] = field(default_factory=list)
    troubles: list[Trouble] = field(default_factory=list)
    _since: float = 0.0

    def run(self, ears: Together) -> None:
        """Hear everything; returns when the phrases are done or the sound ends."""
        self._show(f"Keep quiet for {QUIET_S:.0f} seconds.")
        for clip in cut(self._blocks()):
            if clip.end_s < QUIET_S or len(self.heard) >= len(self.wanted):
                continue
            verdict = ears.hear(clip)
            if verdict.speech:
                wanted = self.wanted[len(self.heard)].meaning
                self._next(verdict.heard, verdict.reading.meaning == wanted)

    def _blocks(self) -> Iterator[Sound]:
        """The sound, for as long as there is a phrase to wait for."""
        asked = False
        while len(self.heard) < len(self.wanted):
            part = self.source.read()
            if part is None:
                return
            if isinstance(part, Trouble):
                self.troubles.append(part)
                self.out.print(safe(part.line), soft_wrap=True)
                continue
            self.seconds += len(part) / SAMPLE_RATE if len(part) else IDLE_S
            if len(part):
                self.sounds.append(part)
                yield part
            if not asked and self.seconds >= QUIET_S:
                asked = True
                self._since = self.seconds
                self._ask()
            elif asked and self.source.live and self.seconds - self._since > PHRASE_S:
                self._next(None, False)

    def _next(self, heard: str | None, right: bool) -> None:
        self.heard.append(heard)
        self.right.append(right)
        said = f"heard: {safe(heard)}" if heard is not None else "nothing was heard"
        self.out.print(("right" if right else "not right") + f" ({said})", soft_wrap=True)
        self._since = self.seconds
        if len(self.heard) < len(self.wanted):
            self._ask()

    def _ask(self) -> None:
        done, of = len(self.heard), len(self.wanted)
        self._show(f"Say ({done + 1} of {of}):   {self.wanted[done].text}")

    def _show(self, text: str) -> None:
        if self.out.is_terminal:
            self.out.print(Panel(Text(text, style="bold"), padding=(1, 4), expand=False))
        else:
            self.out.print(text, soft_wrap=True)


def level_of(sounds: list[Sound]) -> Level:
    """The levels over a whole test."""
    meter = LevelMeter(_LONGEST_S)
    for part in activity(sounds):
        meter.feed(part.raw, part.speech)
    return meter.read()


def advice(level: Level, right: int, of: int, rate: int | None, troubles: list[str]) -> str:
    """One or two sentences on what to do, the most useful first."""
    loud, noise, said = level_verdict(level), noise_verdict(level), list[str]()
    if "zeros" in troubles and level.speech_db is None:
        return (
            "Only silence came: unmute the microphone and allow the terminal to use it; or see "
            f"which there are {_OTHER}"
        )
    if loud == "no speech":
        return f"No speech was found: see whether this is the right microphone {_OTHER}"
    if loud in ("clipping", "too loud"):
        said.append("Turn the microphone's level down, or move it a little to the side.")
    if loud == "too quiet":
        said.append("Turn the microphone's level up, or bring it nearer to the mouth.")
    if noise == "poor":
        said.append(
            "Speech hardly stands above the noise: use a headset with a noise-cancelling boom "
            "microphone two fingers from the corner of the mouth."
        )
    elif noise == "workable" and right < of:
        said.append("A boom microphone nearer to the mouth would lift speech above the noise.")
    if windy(level) and noise != "good":
        said.append("Much of the noise is wind or hum: put a foam cover on, turn out of the wind.")
    if rate is not None and rate <= _TELEPHONE_HZ:
        said.append("It gives telephone quality only; by wire or another headset is better.")
    if not said and right < of - 1:
        said.append(
            "The sound is good, yet phrases were missed: say each in one breath, as it is "
            "written, and try again or try another microphone."
        )
    return " ".join(said[:2]) or "Nothing needs to be changed."


@click.command()
@click.option("--list", "list_only", is_flag=True, help="List the microphones there are.")
@click.option("--device", metavar="NAME", help="A microphone's number or a part of its name.")
@click.option(
    "--from",
    "from_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Test this recording: three seconds of quiet, then the five phrases.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the result as one JSON object.")
@engine_options
def mic(
    list_only: bool,
    device: str | None,
    from_file: Path | None,
    as_json: bool,
    engines: tuple[str, ...],
    vosk_model: Path | None,
    neural_model: Path | None,
) -> int:
    """Test the microphone in half a minute: level, noise, and five phrases to say.

    Nothing of it is kept.
    """
    if TEXT in engines:
        raise click.UsageError("--engine text hears nothing; name one that does")
    if list_only:
        _list(as_json)
        return ExitCode.OK
    # Before the recognizers are loaded, which takes seconds.
    source: Source | None = Replay([from_file], speed=0) if from_file is not None else None
    if source is None:
        choose(devices(), device)
    out = console(to_stderr=as_json)
    console(to_stderr=True).print("getting ready ...")
    grammar = load()
    chosen, _ = listeners(grammar, engines, ModelFolders(vosk_model, neural_model), live=True)
    with closing(Together(chosen, grammar, live=True)) as ears, c_libraries_silenced():
        source = source or Microphone(device)
        with closing(source):
            trial = _Trial(source, phrases(grammar), out)
            trial.run(ears)
    rate = source.rate if isinstance(source, Microphone) else None
    _report(trial, level_of(trial.sounds), rate, as_json)
    return ExitCode.OK


def _report(trial: _Trial, level: Level, rate: int | None, as_json: bool) -> None:
    right, of = sum(trial.right), len(trial.wanted)
    advised = advice(level, right, of, rate, [t.kind for t in trial.troubles])
    loud, noise = level_verdict(level), noise_verdict(level)
    if as_json:
        heard = trial.heard + [None] * (of - len(trial.heard))
        result = {
            "source": trial.source.name,
            "rate_hz": rate,
            "seconds": round(trial.seconds, 1),
            "level": {
                "verdict": loud,
                "speech_db": _tenths(level.speech_db),
                "clipped_share": round(level.clipped, 5),
            },
            "noise": {
                "verdict": noise,
                "noise_db": _tenths(level.noise_db),
                "speech_above_noise_db": _tenths(level.above_noise_db),
                "wind_or_hum": windy(level),
            },
            "phrases": [
                {"said": p.text, "heard": h, "right": i < len(trial.right) and trial.right[i]}
                for i, (p, h) in enumerate(zip(trial.wanted, heard, strict=True))
            ],
            "heard_right": right,
            "advice": advised,
            "troubles": [{"kind": t.kind, "line": t.line} for t in trial.troubles],
        }
        click.echo(json.dumps(result))
        return
    out = trial.out
    out.print(f"\n{safe(trial.source.name)}", style="bold", soft_wrap=True)
    about = ""
    if level.speech_db is not None:
        about = f" (speech {level.speech_db:.0f} dB, full scale is 0)"
    out.print(f"level    {loud}{about}", soft_wrap=True)
    about = ""
    if level.above_noise_db is not None:
        about = f" (speech stands {level.above_noise_db:.0f} dB above it; 20 is good, 10 workable)"
    out.print(f"noise    {noise}{about}", soft_wrap=True)
    out.print(f"phrases  {right} of {of} heard right", soft_wrap=True)
    out.print(advised, soft_wrap=True)


def _list(as_json: bool) -> None:
    found = devices()
    choose(found, None)
    if as_json:
        click.echo(json.dumps([vars(device) for device in found]))
        return
    table = Table("number", "name", "system", "channels", "Hz", "", box=None)
    for d in found:
        row = (str(d.index), safe(d.name), safe(d.host), str(d.channels), str(d.rate))
        table.add_row(*row, "default" if d.default else "")
    console().print(table)


def _tenths(value: float | None) -> float | None:
    return None if value is None else round(value, 1)
