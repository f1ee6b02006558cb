"""`handsfree demo --by-ear`: a visit through the live loop, beside the script of it."""

import time
from collections.abc import Sequence
from pathlib import Path

from rich.console import Console

from handsfree import by_ear
from handsfree.answers import voice
from handsfree.by_ear import Compared, Verdict
from handsfree.cli.listen_screen import Printed
from handsfree.cli.screen import safe
from handsfree.engines.together import Together
from handsfree.grammar.grammar import Grammar
from handsfree.log import Log


def play_by_ear(
    place: Path, ears: Together, grammar: Grammar, log: Log, out: Console, err: Console
) -> None:
    """Play the visit, print what was heard and answered, and at the end the comparison."""
    script = by_ear.read(place)
    shown = Printed(grammar, out, err, as_json=False)
    reason = voice.unavailable()
    if reason is not None:
        shown.trouble(reason)
    started = time.monotonic()
    out.print(f"\n{script.recording.name}", style="bold")
    speech = voice.PiperSpeech() if reason is None else None
    played = by_ear.play(script, log, ears, grammar, speech, shown)
    compared, _ = by_ear.compare(script, played.lines, played.told)
    seconds = time.monotonic() - started
    _report(compared, out, spoken=speech is not None)
    same = by_ear.in_force(log) == script.in_force
    out.print(
        f"The log holds {'exactly' if same else 'not exactly'} the notes of the script; "
        f"{seconds:.0f} s for {script.utterances[-1].end_s:.0f} s of sound.",
        soft_wrap=True,
    )
    out.print(
        "\nNext: 'handsfree listen' does this with your microphone and headset; "
        "'handsfree listen --from FILE' replays a recording of your own.",
        soft_wrap=True,
    )


def _report(compared: Sequence[Compared], out: Console, spoken: bool) -> None:
    of = {verdict: [c for c in compared if c.verdict is verdict] for verdict in Verdict}
    tones = [c for c in compared if not c.tones_right]
    words = [c for c in compared if spoken and not c.words_right]
    lines = sum(len(c.words) for c in compared)
    out.print(
        f"\n{len(of[Verdict.RIGHT])} of {len(compared)} utterances right and sure by the script "
        f"written by hand beside the recording, {len(of[Verdict.DOUBTFUL])} right but marked "
        f"doubtful, {len(of[Verdict.WRONG])} wrong, {len(of[Verdict.MISSED])} missed. "
        f"Answered with other tones: {len(tones)}; with other words: "
        + (f"{len(words)} (of {lines} spoken answers)." if spoken else "no voice, no words."),
        soft_wrap=True,
    )
    for verdict in (Verdict.DOUBTFUL, Verdict.WRONG, Verdict.MISSED):
        for c in of[verdict]:
            heard = f"heard '{safe(c.line.heard.text)}'" if c.line else "nothing was heard"
            doubt = "" if c.sure or verdict is Verdict.DOUBTFUL else ", marked doubtful"
            out.print(f"  {verdict}: said '{c.expected.said}', {heard}{doubt}", soft_wrap=True)
    for c in compared:
        if c in tones or c in words:
            given = "; ".join(", ".join(t.say) or f"{t.tone} tone" for t in c.told) or "nothing"
            out.print(f"  answered '{c.expected.said}' with: {safe(given)}", soft_wrap=True)
