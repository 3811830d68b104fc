"""What a process that stays for long keeps in memory."""

from __future__ import annotations

import gc
from typing import Final

from django.urls import get_resolver

# How glibc keeps memory (mallopt(3)), set before a process that stays for long starts. It would keep an arena for
# each thread, none of which ever gives back what a large page or paper took for a moment. Elsewhere it means nothing.
ALLOCATOR: Final = {
    "MALLOC_ARENA_MAX": "2",
    "MALLOC_MMAP_THRESHOLD_": "131072",
    "MALLOC_TRIM_THRESHOLD_": "131072",
}


def settle() -> None:
    """Loads the code of every page now, and keeps the garbage collector away from what is loaded: none of it goes.

    Without this each of its full rounds walks through everything, which takes a tenth of the time of making a paper.
    """
    _ = get_resolver().url_patterns
    gc.collect()
    gc.freeze()
