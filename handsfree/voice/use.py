"""A speaker's file put to use where recognizers are made."""

from collections.abc import Callable
from dataclasses import replace

from handsfree.engines.confidence import Confidence, load
from handsfree.engines.speaker import NO_WARP, Speaker, shifted
from handsfree.errors import HandsfreeError
from handsfree.voice.kept import NOBODY, USUAL, DamagedVoice, path_of, plain_name, read, versions

AGAIN = "'handsfree voice' measures anew"


def speaker_named(name: str | None, tell: Callable[[str], None]) -> Speaker:
    """What was fitted to a speaker: of this name, or of the usual one where there is a file.

    A file that is damaged, or was measured with other recognizers, is told in one line and left
    out, wholly or in that part. Raises HandsfreeError where a named speaker has no file.
    """
    if name == NOBODY:
        return Speaker()
    chosen = USUAL if name is None else plain_name(name)
    try:
        kept = read(chosen)
    except DamagedVoice as error:
        tell(f"{error}; listening without it, {AGAIN}")
        return Speaker()
    if kept is None:
        if name is None:
            return Speaker()
        raise HandsfreeError(
            f"there is no voice '{chosen}'; 'handsfree voice --name {chosen}' makes one"
        )
    now, speaker = versions(), kept.speaker
    if speaker.warp != NO_WARP and kept.engines.get("pocketsphinx") != now.get("pocketsphinx"):
        tell(f"{path_of(chosen)}: its warp is for another PocketSphinx and not used; {AGAIN}")
        speaker = replace(speaker, warp=NO_WARP)
    if speaker.shift and kept.engines.get("confidence") != now["confidence"]:
        tell(f"{path_of(chosen)}: its shift is for other weights and not used; {AGAIN}")
        speaker = replace(speaker, shift={})
    if speaker != Speaker():
        tell(f"fitted to the voice of {chosen}")
    return speaker


def confidence_for(speaker: Speaker) -> Confidence:
    """How sure the listeners may be of this speaker."""
    return shifted(load(), speaker.shift)
