"""From sound to words: three engines behind one interface, held to one grammar."""

from handsfree.words.engines import open_engine
from handsfree.words.recogniser import Recogniser, Recognition

__all__ = ["Recogniser", "Recognition", "open_engine"]
