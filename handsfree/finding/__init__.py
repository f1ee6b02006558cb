"""Finding what was said: plain words become a question, and the log answers it."""

from handsfree.finding.asking import ask
from handsfree.finding.question import Amount, Days, Group, Question, Understood
from handsfree.finding.understanding import understand

__all__ = ["Amount", "Days", "Group", "Question", "Understood", "ask", "understand"]
