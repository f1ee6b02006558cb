"""How the index that makes the log findable is laid out (released/09.sql made it).

`findable` has a row for each entry, and for each utterance without entries. Its key, `place`,
is the second the visit began times 2^22 and a number within it: the newest first is the order
of the key, and a span of days is a range of it. `findable_words` is the full-text index beside
it (contentless; its rowid is the place). It holds the words as heard and, as words of their
own, the ids of the entry: `t_bruise`, `l_lh`. Words that carry the meaning where there is no
id (a remark, what narrows a shoe down, what was unclear) are in it as `d_word` besides.
Triggers keep both. What stands here says what that text did, so it changes only together with
a new migration.
"""

PLACES = 1 << 22
"""Places for what belongs to visits that began in one second."""

TOKENS = "unicode61 remove_diacritics 2 tokenchars '_'"

SLOTS = dict(
    **{"term": "t_", "zone": "z_", "side": "s_", "grade": "g_", "age": "a_", "trend": "r_"},
    **{"quantity": "q_", "shoe": "i_", "nail": "n_", "work": "w_", "plan": "p_", "limb": "l_"},
    **{"kind": "k_", "horse": "h_", "own": "d_"},
)
"""What an id is of → what it begins with in the full-text index."""
