"""`handsfree model`: fetch the small English model for Vosk."""

import sys
from pathlib import Path

import click

from handsfree.cli.screen import console
from handsfree.engines import vosk_model


@click.command()
@click.option(
    "--to",
    "dest",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="Where to put it (default: 'vosk' in your data folder, where it is found by itself).",
)
def model(dest: Path | None) -> None:
    """Fetch the small English Vosk model (41 MB): a third listener.

    Needs a network once; without one, a line says how to put the folder there by hand.
    """
    with click.progressbar(
        length=vosk_model.MODEL_BYTES, label="fetching the model", file=sys.stderr
    ) as bar:
        # The bar counts steps, the download reports totals.
        done = 0

        def report(got: int, total: int | None) -> None:
            nonlocal done
            if total:
                bar.length = total
            bar.update(got - done)
            done = got

        folder = vosk_model.fetch(dest, progress=report)
    console().print(f"the model is in {folder}", soft_wrap=True)
