"""Two presses: the papers of a certificate are rendered side by side while the demo office is loaded.

The one slow part of the load; everything else waits for it, since the next row of the trail holds the papers' hashes.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from functools import partial
from multiprocessing import get_context
from typing import Any
from unittest.mock import patch

from office.certificates import paper, pdf
from office.certificates.seal.sealing import Sealing


@contextmanager
def side_by_side() -> Iterator[None]:
    """Inside, each paper of a certificate is rendered in a process of its own, by the same code and to the same bytes.

    Rendering reads neither database nor clock, so a forked process needs nothing but the snapshot and its seal.
    """
    with ProcessPoolExecutor(len(paper.SIZES), mp_context=get_context("fork")) as pool:

        def render_all(document: dict[str, Any], sealing: Sealing | None = None) -> dict[str, bytes]:
            render = partial(pdf.render, document, sealing=sealing)
            return dict(zip(paper.SIZES, pool.map(render, paper.SIZES), strict=True))

        with patch.object(pdf, "render_all", render_all):
            yield
