"""What is worked out from things that never change, once while they live on."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from functools import wraps
from threading import Lock
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


def once(kept: int) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """A decorator that keeps the last `kept` results of a function.

    Unlike `functools.lru_cache` it knows its arguments by their identity, not by their hash: a
    plan or a language is large, never changes, and has no hash.  Two threads that ask for the
    same at once may both work it out; the first result is kept.
    """

    def decorate(function: Callable[P, R]) -> Callable[P, R]:
        # The arguments are kept beside the result, so that no other object takes their ids.
        results: OrderedDict[tuple[object, ...], tuple[object, R]] = OrderedDict()
        lock = Lock()

        @wraps(function)
        def ask(*args: P.args, **named: P.kwargs) -> R:
            key = (*map(id, args), *((name, id(value)) for name, value in sorted(named.items())))
            with lock:
                if key in results:
                    results.move_to_end(key)
                    return results[key][1]
            result = function(*args, **named)
            with lock:
                result = results.setdefault(key, ((args, named), result))[1]
                while len(results) > kept:
                    results.popitem(last=False)
            return result

        return ask

    return decorate
