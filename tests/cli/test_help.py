"""Every command explains itself, and README names it."""

from pathlib import Path

import pytest

from handsfree.cli.main import COMMANDS
from handsfree.errors import ExitCode

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("command", COMMANDS)
def test_command_has_help_and_is_in_the_readme(run, command: str):
    done = run(command, "--help")
    assert done.code == 0
    text = " ".join(done.out.split())
    assert len(text.split("Options:")[0]) > 60, "says too little"
    assert f"handsfree {command}" in README


def test_top_help_lists_all_commands_and_exit_codes(run):
    out = " ".join(run("--help").out.split())
    for command in COMMANDS:
        assert command in out
    for code in ExitCode:
        assert f" {int(code)} " in out.split("Exit codes:")[1]


def test_readme_lists_the_exit_codes():
    for code in ExitCode:
        assert f"| {int(code)} |" in README


def test_version(run):
    assert run("--version").out.startswith("handsfree, version ")


@pytest.mark.parametrize("text", ["clench", "thrush", ""])
def test_words_can_be_searched(run, text: str):
    out = run("words", text).out if text else run("words").out
    assert "clench" in out if text == "clench" else "frog" in out


def test_word_list_of_the_docs_is_the_grammars(run):
    page = Path(__file__).parents[2] / "grammar" / "WORDS.md"
    assert page.read_text(encoding="utf-8") == run("words", "--markdown").out
