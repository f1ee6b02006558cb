"""Voice set-up: one speaker's phrases, what is misheard of them, and what can be fitted to him."""
