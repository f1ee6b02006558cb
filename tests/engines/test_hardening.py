"""What the model was taught of noise: put in exactly, only where it belongs, and of use."""

import io
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from handsfree.engines import neural, whisper_loading
from handsfree.engines.base import SAMPLE_RATE, Sound
from handsfree.engines.hardening import (
    CHANGES,
    ENCODER,
    few_tokens,
    hardened,
    read_changes,
    with_changes,
)
from handsfree.engines.whisper_features import log_mel
from handsfree.engines.whisper_model import PACKAGE, ModelFolder, find_model, read_weights
from handsfree.errors import EngineError

soundfile = pytest.importorskip("soundfile", reason="soundfile is not installed")
_reason = neural.available()
pytestmark = pytest.mark.skipif(_reason is not None, reason=str(_reason))


@pytest.fixture(scope="module")
def model_bin() -> Path:
    folder = find_model()
    if not folder.pinned:
        pytest.skip(f"the package {PACKAGE} is not installed")
    return folder.path / "model.bin"


def test_only_what_was_taught_is_changed_and_by_just_that(model_bin: Path, tmp_path: Path) -> None:
    changes = read_changes()
    assert changes
    made = tmp_path / "model.bin"
    made.write_bytes(hardened(model_bin, changes))
    before, after = read_weights(model_bin), read_weights(made)
    listening = {name for name in before if name.startswith("encoder/")}
    assert listening < after.keys() < before.keys()
    for name, got in after.items():
        old = before[name][: len(got)] if got.ndim else before[name]
        if name not in changes or not name.startswith(ENCODER):
            assert old.tobytes() == got.tobytes(), name
        else:
            wanted = old.astype(np.float32) + changes[name].reshape(old.shape)
            np.testing.assert_allclose(got, wanted, atol=4e-3, rtol=2e-3, err_msg=name)


def test_the_decoder_gets_its_own_changes_and_only_these(model_bin: Path) -> None:
    changes = read_changes()
    before = read_weights(model_bin, "decoder/")
    after = with_changes(before, changes)
    assert after.keys() == before.keys()
    assert any(name in changes for name in before), "its decoder was taught nothing"
    for name, got in after.items():
        if name not in changes:
            assert got is before[name], name
        else:
            assert got.dtype == before[name].dtype
            wanted = before[name].astype(np.float32) + changes[name].reshape(got.shape)
            np.testing.assert_allclose(got, wanted, atol=4e-3, rtol=2e-3, err_msg=name)


def test_without_changes_it_listens_as_the_whole_model_does(model_bin: Path) -> None:
    """CTranslate2 hears the same with most of the decoder left out."""
    import ctranslate2

    noise = 0.05 * np.random.default_rng(4).standard_normal(SAMPLE_RATE).astype(np.float32)
    whole = whisper_loading.load(harden=False)
    files = {p.name: p.read_bytes() for p in model_bin.parent.iterdir() if p.is_file()}
    files["model.bin"] = hardened(model_bin, {})
    files["vocabulary.txt"] = few_tokens(files["vocabulary.txt"].decode()).encode()
    assert len(files["model.bin"]) < 0.35 * model_bin.stat().st_size
    cut = ctranslate2.models.Whisper("cut", compute_type="int8", files=files)
    features = ctranslate2.StorageView.from_array(log_mel(noise, whole.bands)[None])
    np.testing.assert_array_equal(np.asarray(cut.encode(features))[0], whole.encode(noise))


def test_a_low_rank_change_is_the_product_of_its_parts(tmp_path: Path) -> None:
    up, down = np.ones((4, 2)), np.arange(6.0).reshape(2, 3)
    np.savez(tmp_path / "changes.npz", **{"a:up": up, "a:down": down, "b": np.ones(2)})
    found = read_changes(tmp_path / "changes.npz")
    assert set(found) == {"a", "b"}
    np.testing.assert_allclose(found["a"], up @ down)


def test_changes_of_another_model_are_refused(model_bin: Path) -> None:
    for wrong in ({"encoder/nothing": np.ones(3)}, {"encoder/conv1/bias": np.ones(3)}):
        with pytest.raises(EngineError, match="does not belong"):
            hardened(model_bin, wrong)


def test_a_folder_without_its_vocabulary_is_one_line(model_bin: Path, tmp_path: Path) -> None:
    (tmp_path / "model.bin").symlink_to(model_bin)
    with (
        pytest.raises(EngineError, match=r"lacks vocabulary\.txt"),
        whisper_loading._hardened(ModelFolder(tmp_path, True), {}),
    ):
        pass


def test_a_damaged_file_is_one_line(tmp_path: Path) -> None:
    whole = CHANGES.read_bytes()
    for data in (b"", b"not an archive", whole[: len(whole) // 2]):
        path = tmp_path / "changes.npz"
        path.write_bytes(data)
        with pytest.raises(EngineError, match="reinstall handsfree") as caught:
            read_changes(path)
        assert "\n" not in str(caught.value)


def test_with_a_full_disk_it_is_loaded_all_the_same(
    model_bin: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    noise = 0.05 * np.random.default_rng(3).standard_normal(SAMPLE_RATE).astype(np.float32)
    wanted = whisper_loading.load().encode(noise)
    monkeypatch.setattr(whisper_loading, "_models", {})
    monkeypatch.setattr(whisper_loading.tempfile, "TemporaryDirectory", full)
    np.testing.assert_array_equal(whisper_loading.load().encode(noise), wanted)


def test_a_folder_the_user_names_is_left_as_it_is(model_bin: Path, tmp_path: Path) -> None:
    for path in model_bin.parent.iterdir():
        (tmp_path / path.name).symlink_to(path)
    noise = 0.05 * np.random.default_rng(2).standard_normal(SAMPLE_RATE).astype(np.float32)
    plain = whisper_loading.load(harden=False).encode(noise)
    np.testing.assert_array_equal(whisper_loading.load(tmp_path).encode(noise), plain)
    assert np.abs(whisper_loading.load().encode(noise) - plain).max() > 0.1


@pytest.mark.parametrize("seed", [1, 2])
def test_in_noise_it_hears_more_of_what_it_hears_in_quiet(model_bin: Path, seed: int) -> None:
    """With a voice and phrases it was never taught with."""
    plain, taught = whisper_loading.load(harden=False), whisper_loading.load()
    rng = np.random.default_rng(seed)
    for phrase in ("four nails left in", "the owner says he was lame on tuesday"):
        speech = spoken(phrase)
        noise = rng.standard_normal(len(speech)).astype(np.float32)
        noise *= np.sqrt((speech**2).mean() / (noise**2).mean() / 10 ** (5 / 10))  # 5 dB
        heard = [model.encode(speech + noise) for model in (plain, taught)]
        wanted = plain.encode(speech, 10.0)[: len(heard[0])]
        before, after = (np.square(each - wanted).mean() for each in heard)
        assert after < 0.7 * before, phrase


def spoken(phrase: str) -> Sound:
    if shutil.which("flite") is None:
        pytest.skip("flite is not installed")
    command = ["flite", "-voice", "rms", "-t", phrase, "-o", "/dev/stdout"]
    data = subprocess.run(command, check=True, capture_output=True).stdout
    # Written to a pipe, the header does not know how long the sound is.
    sound = np.frombuffer(data[44:], "<i2").astype(np.float32) / 32768
    assert soundfile.SoundFile(io.BytesIO(data)).samplerate == SAMPLE_RATE
    return sound
