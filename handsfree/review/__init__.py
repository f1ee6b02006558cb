"""Review: what was heard is confirmed or put right; no screen and no sound in here."""
