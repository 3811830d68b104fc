"""The one task of the queue, under the name by which its rows find it."""

from __future__ import annotations

from office.work.doing import do_work

__all__ = ["do_work"]
