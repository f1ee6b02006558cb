"""Teach the neural listener to tell sentences of the grammar apart in noise. Needs torch.

    python tests/bench/harden_trade.py --keep FOLDER --noise FOLDER --people FOLDER --write

The second lesson, after harden.py, with the same sounds. Of each the sentence that was said is set
against those the listener finds as well in noise (harden_rivals.py), each by the score it has in
the program, and what was said is to be the likeliest (maximum mutual information, Bahl et al. 1986,
over lists as in Povey 2003). The decoder learns too, so that it need not be corrected for what
is likely in other people's writing; over words of no grammar it is to go on saying what it says.
What is kept is mixed with what there was before.
"""

import harden
import harden_model as model
import harden_rivals
import noisy_material as material
import numpy as np
import torch
from harden import OUT, Batch, Feed, Pupil, School
from harden_noise import Shop
from harden_rivals import Rivals
from torch import Tensor
from torch.nn import functional

from handsfree.grammar import load

SENTENCES = 3
"""Set against each other at a time: what was said and this many less one of its rivals."""
LIKELIEST_FIRST = 1.5
"""Scale of the chance (Gumbel) by which a rival may be drawn before one more likely."""
LEFT_OUT = 0.35
"""Share of the lessons without rivals that each time round goes without."""
WORDS_WEIGHT, SAID_WEIGHT = 0.15, 0.2
"""As in harden.py, beside the rivals; where there are none, those of harden.py."""
NEW_SHARE = 0.75
"""Of what is learnt in the mean that is kept: 0.5, 0.75 and 1 heard 292, 294 and 292 of 320."""


def main() -> None:
    parser = harden.options_for(__doc__, rate=6e-4, minutes=70.0)
    options = parser.parse_args()
    school, shop = School.opened(options), Shop(material.Shed(options.noise), 11)
    rivals = harden_rivals.kept(options.keep, school.lessons, load(), options.people, shop)
    changes = {
        **model.fresh_changes(school.tree, 5),
        **model.fresh_changes(school.tree, 9, "decoder/"),
    }
    changes = model.gone_on(changes, harden.read(OUT))
    before = {name: value.clone() for name, value in changes.items()}
    scholar = Scholar(school, changes)
    harden.teach(scholar, Contest(school, shop, rivals), options)
    if options.write:
        harden.write(harden.mixed(before, scholar.steady, NEW_SHARE), OUT)


class Contest(Feed):
    """Batches with rivals to what was said, between others without."""

    def __init__(self, school: School, shop: Shop, rivals: list[Rivals]) -> None:
        self._rivals, self._chance = rivals, np.random.default_rng(13)
        super().__init__(school.lessons, shop, school.spelled)

    def _kind(self, at: int) -> int:
        return 2 if self._rivals[at] else super()._kind(at)

    def _skips(self, at: int) -> bool:
        return not self._rivals[at] and bool(self._chance.random() < LEFT_OUT)

    def _batch(self, at: list[int], room: int) -> Batch:
        batch = super()._batch(at, room)
        if not self._rivals[at[0]]:
            return batch
        said = [row for each in at for row in self._against(each)]
        # A sentence that is not there has no tokens to judge, not even its end.
        count = [0 if row is None else len(row) + 1 for row in said]
        longest = len(self._spelled.opening) + max(len(row or ()) for row in said)
        tokens = self._spelled.rows([row or [] for row in said])[:, :longest]
        return batch.among(torch.from_numpy(tokens), torch.tensor(count))

    def _against(self, at: int) -> list[list[int] | None]:
        """What was said, rivals to it, and None for each that it has too few."""
        rivals = self._rivals[at]
        late = np.arange(len(rivals)) + self._chance.gumbel(0, LIKELIEST_FIRST, len(rivals))
        drawn = [rivals[i] for i in np.argsort(late)[: SENTENCES - 1]]
        lacking = SENTENCES - 1 - len(drawn)
        return [self._lessons[at].tokens, *drawn, *[None] * lacking]


class Scholar(Pupil):
    """Encoder and decoder with their changes."""

    MEASURED = (*Pupil.MEASURED, "rivals")
    SOUND_WEIGHT = 0.3

    def __init__(self, school: School, changes: model.Tree) -> None:
        super().__init__(school, changes)
        self._end = school.spelled.end
        masks = school.spelled.listener.masks
        self._never = torch.from_numpy(masks.always).clamp(min=-1e4)

    def learn(self, batch: Batch, rate: float) -> tuple[float, ...]:
        """One step, as Pupil's; last, how unlikely what was said is among its rivals (nats)."""
        if not batch.count.any() or len(batch.count) == len(batch.mel):
            return (*super().learn(batch, rate), np.nan)
        changed = model.changed(self._tree, self._changes)
        encoded, sound = self._encoded(changed, batch)
        words, said, rivals = self._sentences(changed, encoded, batch)
        loss = self.SOUND_WEIGHT * sound + WORDS_WEIGHT * words + SAID_WEIGHT * said + rivals
        self._follow(loss, rate)
        return tuple(float(x.detach()) for x in (sound, words, said, rivals))

    def _sentences(
        self, changed: model.Tree, encoded: Tensor, batch: Batch
    ) -> tuple[Tensor, Tensor, Tensor]:
        count, first = batch.count, self._first
        states = model.decode(changed, batch.tokens, encoded, batch.frames, self._heads[1])
        judged = torch.arange(batch.tokens.shape[1] - first)[None] < count[:, None]
        logits = model.logits(changed, states[:, first:][judged])[:, : len(self._never)]
        ends = torch.full((len(batch.tokens), 1), self._end)
        after = torch.cat([batch.tokens, ends], 1)[:, first + 1 :][judged]
        chosen = logits.gather(1, after[:, None])[:, 0]
        norms = (logits + self._never).logsumexp(-1)
        totals = torch.zeros(judged.shape).masked_scatter(judged, chosen - norms).sum(-1)
        by_sound, totals = count.view(len(encoded), -1), totals.view(len(encoded), -1)
        length = by_sound[:, :1]
        # The program's score is a mean a token; times the length it counts as that of a sentence.
        scores = (totals / by_sound.clamp(min=1) * length).masked_fill(by_sound == 0, -1e4)
        rivals = functional.cross_entropy(scores, torch.zeros(len(scores), dtype=torch.long))
        true = torch.zeros_like(by_sound, dtype=torch.bool)
        true[:, 0] = True
        logs = logits[true.view(-1, 1).expand_as(judged)[judged]].log_softmax(-1)
        taught = torch.arange(batch.likely.shape[1])[None] < length
        likely = batch.likely[taught].clamp(max=logs.shape[1] - 1)
        words = harden.from_teacher(logs, likely, batch.chances[taught])
        return words, -totals[:, 0].sum() / length.sum(), rivals


if __name__ == "__main__":
    main()
