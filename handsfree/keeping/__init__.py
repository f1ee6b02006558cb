"""Keeping the log: backup, restore, check, archive, thinning of sound, erasing of one horse."""
