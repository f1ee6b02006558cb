"""Two logs of one practice that both grew become one, with nothing lost."""

from handsfree.joining.join import Disputed, Joined, join

__all__ = ["Disputed", "Joined", "join"]
