"""From sound to words: three engines behind one interface, held to one grammar."""

from handsfree.words.engines import open_engine
from handsfree.words.pace import in_time
from handsfree.words.recogniser import Recogniser, Recognition

__all__ = ["Recogniser", "Recognition", "in_time", "open_engine"]
