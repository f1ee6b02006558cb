"""Screens of the terminal, over the action layer of `handsfree.review`."""
