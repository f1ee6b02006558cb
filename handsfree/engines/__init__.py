"""Recognizers behind one protocol (base.Listener), and how they are used together."""
