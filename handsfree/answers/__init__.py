"""Answers by ear: short tones, offline speech and where they are played."""
