"""Recordings of a pocket recorder or a telephone into the log, each once."""
