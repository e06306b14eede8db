"""handsfree: a voice-driven, hands-free test logger for electrical fault finding.

The folders show the flow:

    sound -> words -> grammar, meaning -> check -> dialogue -> events -> log -> report

- `sound` and `words` are devices, files and engines: from the microphone to hypotheses.
- `grammar`, `meaning`, `check`, `diagnosis`, `dialogue` and `events` are the core: what may be
  said, what it means, how it compares, which part is at fault, what is said next, and what
  happened.  `plan` and `circuit` are what it knows.  Pure functions and frozen dataclasses that
  know nothing of microphones, files or screens.
- `log` keeps the events as evidence; `report` and `display` show them.
- `job` is one dictation, `live` one with a microphone; `cli` is the command line.
- `heard`, `units`, `fields` (of plans), `showable`, `once`, `pinned` and `errors` are used
  everywhere; `languages` reads what is in grammars/.
"""

import os

#: ONNX Runtime, which runs Moonshine and the piper voice, sends statistics of its use to its maker
#: over the network, and keeps an identifier of the machine, unless it is told not to before it is
#: loaded (onnxruntime/Privacy.md, "Disabling Telemetry").
os.environ["ORT_DISABLE_TELEMETRY"] = "1"

#: The matrices here are small: several threads lose more than they win, most of all beside a
#: recogniser.  Read when numpy is loaded, so it does nothing in a program that has done so before.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
