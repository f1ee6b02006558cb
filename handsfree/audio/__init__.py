"""The audio room: recordings in, clips of speech out."""
