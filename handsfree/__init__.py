"""handsfree: a voice-driven, hands-free test logger for electrical fault finding.

The folders show the flow:

    sound -> words -> meaning -> check -> dialogue -> diagnosis -> log -> report

`grammar` and `plan` feed the middle.  Everything from `grammar` to `diagnosis` is
the core: pure functions and frozen dataclasses that know nothing of microphones,
files or screens.
"""

__version__ = "0.1.0"
