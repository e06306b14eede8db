"""`handsfree` as somebody calls it: in this process, where the test is not about the process.

What a process of its own costs, a second of imports and a language to be read, is paid once.
"""

from __future__ import annotations

import io
import os
import signal
import sys
from contextlib import ExitStack, chdir, redirect_stderr, redirect_stdout
from pathlib import Path
from subprocess import CompletedProcess
from unittest.mock import patch

from handsfree.cli import main

#: Of the terminal that it takes itself to be in.
COLUMNS = "200"
#: Signals that it may heed differently while it runs.
HEEDED = (signal.SIGTERM, signal.SIGHUP)


def run(*args: object, cwd: Path | None = None) -> CompletedProcess[str]:
    """Its exit code, and what it printed."""
    told, errors = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    before = {number: signal.getsignal(number) for number in HEEDED}
    line = ["handsfree", *map(str, args)]
    with ExitStack() as stack:
        for number, how in before.items():
            stack.callback(signal.signal, number, how)
        stack.enter_context(patch.object(sys, "argv", line))
        stack.enter_context(patch.dict(os.environ, COLUMNS=COLUMNS))
        stack.enter_context(chdir(cwd or Path.cwd()))
        stack.enter_context(redirect_stdout(told))
        stack.enter_context(redirect_stderr(errors))
        try:
            main()
            code = 0
        except SystemExit as ended:
            code = 1 if isinstance(ended.code, str) else ended.code or 0
    out, err = (str(file.buffer.getvalue(), "utf-8") for file in (told, errors))  # type: ignore[attr-defined]
    return CompletedProcess(line, code, out, err)
