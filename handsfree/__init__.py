"""Voice notes for a farrier: spoken findings become records by limb, offline."""

__version__ = "0.1.0"
