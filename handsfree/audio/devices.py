"""PortAudio as this program uses it: loaded quietly, its inputs listed and chosen by name."""

import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from handsfree.errors import ExitCode, HandsfreeError

_NO_LIBRARY = (
    "the sound library PortAudio is missing: install it (Debian, Ubuntu: "
    "'sudo apt-get install libportaudio2'; Fedora: 'sudo dnf install portaudio')"
)
_NO_PACKAGE = "the Python package sounddevice is missing: 'pip install sounddevice'"
_NO_INPUT = (
    "there is no microphone: plug one in, allow this program to use it, and see what "
    "'handsfree mic --list' shows"
)
_LISTED = 8
"""Most devices named in one line."""


class NoMicrophone(HandsfreeError):
    """There is no microphone that can be used; the line says why and what to do."""

    exit_code = ExitCode.ENGINE


class SeveralMicrophones(NoMicrophone):
    """A name fits several microphones; waiting for one to be plugged in will not help."""


@dataclass(frozen=True)
class Device:
    """A sound input. `channels` is the most it has, `rate` its own sampling rate in Hz.

    `host` is the system it belongs to (ALSA, Core Audio, Windows WASAPI ...); Windows lists
    one microphone under several. `default` marks the one the system would take.
    """

    index: int
    name: str
    host: str
    channels: int
    rate: int
    default: bool


_stderr_lock = threading.RLock()


@contextmanager
def quiet_stderr() -> Iterator[None]:
    """Keep what C libraries write to standard error (ALSA's chatter) from the terminal.

    It counts for the whole process, so it is for short calls only. One thread at a time:
    two of them restoring each other's descriptor would leave it closed for good.
    """
    with _stderr_lock:
        try:
            kept = os.dup(2)
        except OSError:
            yield
            return
        try:
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, 2)
            os.close(nowhere)
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)


@contextmanager
def c_libraries_silenced() -> Iterator[None]:
    """For as long as a command listens: what C libraries write on standard error is dropped.

    PortAudio's own thread complains there when a microphone is unplugged. Python's
    sys.stderr goes on to the terminal. Does nothing where sys.stderr is not the real one.
    """
    try:
        if sys.stderr.fileno() != 2:
            raise OSError("standard error goes elsewhere already")
        kept = os.fdopen(os.dup(2), "w", 1, sys.stderr.encoding, "backslashreplace")
    except (OSError, ValueError):
        yield
        return
    usual = sys.stderr
    usual.flush()
    nowhere = os.open(os.devnull, os.O_WRONLY)
    with _stderr_lock:
        os.dup2(nowhere, 2)
    os.close(nowhere)
    sys.stderr = kept
    try:
        yield
    finally:
        sys.stderr = usual
        with _stderr_lock:
            kept.flush()
            os.dup2(kept.fileno(), 2)
        kept.close()


def load_portaudio() -> Any:
    """The module sounddevice. Raises NoMicrophone where it or PortAudio is missing."""
    try:
        with quiet_stderr():
            import sounddevice
    except ImportError as error:
        raise NoMicrophone(_NO_PACKAGE) from error
    except OSError as error:
        raise NoMicrophone(_NO_LIBRARY) from error
    except Exception as error:
        # sounddevice starts PortAudio while it is imported.
        raise NoMicrophone(f"the sound system does not start: {one_line(error)}") from error
    return sounddevice


def devices(sound: Any = None) -> list[Device]:
    """The inputs that PortAudio sees, in its order. Raises NoMicrophone (see load_portaudio).

    `sound` is the module sounddevice or a stand-in for it.
    """
    sound = sound or load_portaudio()
    try:
        with quiet_stderr():
            every = list(sound.query_devices())
            hosts = [str(host["name"]) for host in sound.query_hostapis()]
            default = int(sound.default.device[0])
    except sound.PortAudioError as error:
        raise NoMicrophone(f"the sound system does not answer: {one_line(error)}") from error
    return [
        Device(
            index,
            one_line(info["name"]),
            hosts[info["hostapi"]],
            int(info["max_input_channels"]),
            round(info["default_samplerate"]),
            index == default,
        )
        for index, info in enumerate(every)
        if info["max_input_channels"] > 0
    ]


def choose(found: list[Device], wanted: str | None) -> Device:
    """The device of this number or with this in its name (case is ignored), or the default.

    Where one name is listed under several hosts, the default device's host decides. Raises
    NoMicrophone with the choices where none fits, SeveralMicrophones where several do.
    """
    if not found:
        raise NoMicrophone(_NO_INPUT)
    default = next((d for d in found if d.default), found[0])
    if wanted is None:
        return default
    if wanted.strip().isdecimal():
        numbered = [d for d in found if d.index == int(wanted)]
        if numbered:
            return numbered[0]
    text = wanted.strip().lower()
    fitting = [d for d in found if text and text in d.name.lower()]
    exact = [d for d in fitting if d.name.lower() == text]
    for some in (exact, fitting):
        at_home = [d for d in some if d.host == default.host]
        for narrowed in (some, at_home):
            if len(narrowed) == 1:
                return narrowed[0]
    if fitting:
        raise SeveralMicrophones(
            f"several microphones have '{wanted}' in their name: {_choices(fitting)}; give more "
            "of the name, or the number"
        )
    raise NoMicrophone(f"there is no microphone '{wanted}'; there are {_choices(found)}")


def one_line(text: object) -> str:
    """The text of a device or an error on one line."""
    return " ".join(str(text).split())


def _choices(found: list[Device]) -> str:
    several_hosts = len({d.host for d in found}) > 1
    named = [
        f"{d.index} '{d.name}'" + (f" ({d.host})" if several_hosts else "") for d in found[:_LISTED]
    ]
    more = len(found) - _LISTED
    return ", ".join(named) + (f" and {more} more ('handsfree mic --list')" if more > 0 else "")
