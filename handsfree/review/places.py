"""Where the review keeps its indexes, and where its page is."""

from __future__ import annotations

from pathlib import Path

from platformdirs import user_cache_path

#: The glance page has another, so that both can be open.
REVIEW_PORT = 8711


def index_folder() -> Path:
    """Where local indexes are kept."""
    return user_cache_path("handsfree") / "review"
