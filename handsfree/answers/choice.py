"""Which of the outputs of this machine is meant."""

from typing import Any

from handsfree.audio.devices import one_line


class NoSuchSpeaker(Exception):
    """The device asked for is not among the outputs."""


def choose_output(sound: Any, wanted: str | None) -> int:
    """The index of the output with this number or with this in its name, or the default.

    Where several fit, an exact name counts more than a part, and the system's own host more
    than another (Windows lists a headset once for each). Raises NoSuchSpeaker.
    """
    every = list(sound.query_devices())
    outputs = {i: info for i, info in enumerate(every) if info["max_output_channels"] > 0}
    if not outputs:
        raise NoSuchSpeaker("there is no loudspeaker: plug one in or switch it on")
    default = int(sound.default.device[1])
    if wanted is None or not wanted.strip():
        return default if default in outputs else next(iter(outputs))
    text = wanted.strip().lower()
    if text.isdecimal() and int(text) in outputs:
        return int(text)
    home = outputs[default]["hostapi"] if default in outputs else None
    fitting = [i for i, info in outputs.items() if text in info["name"].lower()]
    if not fitting:
        names = ", ".join(f"{i} '{one_line(info['name'])}'" for i, info in outputs.items())
        raise NoSuchSpeaker(f"there is no loudspeaker '{wanted}' (there are {names})")
    return min(
        fitting, key=lambda i: (outputs[i]["name"].lower() != text, outputs[i]["hostapi"] != home)
    )
