"""The process in which the sound devices live; `handsfree.sound.card` starts and watches it.

    python -m handsfree.sound.device MICROPHONE SPEAKER [audible]

Commands come in and messages go out pickled, through standard input and output.  It ends when
its input does, so that it never outlives the program.
"""

from __future__ import annotations

import os
import pickle
import queue
import signal
import sys
import threading
import time
from typing import IO

from handsfree.errors import Missing
from handsfree.sound.card import Deaf, Message, Opened, Said
from handsfree.sound.microphone import Microphone
from handsfree.sound.speaker import Speaker

LAST_WORDS = 8.0
"""Seconds in which it can be said that there is no microphone, before devices are tried again."""


def serve(microphone: str, speaker: str, audible: str = "") -> None:
    """Open the devices and serve until the input ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the program itself decides when to end
    out, sys.stdout = sys.stdout.buffer, sys.stderr
    outbox: queue.SimpleQueue[Message] = queue.SimpleQueue()
    threading.Thread(target=_send, args=(out, outbox), daemon=True).start()
    loud, missing = None, None
    if audible:
        try:
            loud = Speaker(speaker or None, lambda number: outbox.put(Said(number)))
        except Missing as error:
            missing = error
    threading.Thread(target=_obey, args=(sys.stdin.buffer, loud, outbox), daemon=True).start()
    try:
        if missing:
            raise missing
        heard = Microphone(microphone or None, loud)
    except Missing as error:
        outbox.put(Deaf(error.what, error.remedy or "", audible=loud is not None))
        time.sleep(LAST_WORDS if loud else 0.2)
        return
    name = loud.name if loud else None
    outbox.put(Opened(heard.name, name, heard.rate, heard.channels))
    for block in heard.blocks():
        outbox.put(block)


def _send(stream: IO[bytes], outbox: queue.SimpleQueue[Message]) -> None:
    while True:
        pickle.dump(outbox.get(), stream)
        stream.flush()


def _obey(stream: IO[bytes], loud: Speaker | None, outbox: queue.SimpleQueue[Message]) -> None:
    try:
        while True:
            name, number, *sound = pickle.load(stream)
            if loud:
                getattr(loud, name)(number, *sound)
            elif name == "end":
                outbox.put(Said(number))
    finally:  # a broken pipe: the program has ended
        os._exit(0)


if __name__ == "__main__":
    serve(*sys.argv[1:])
