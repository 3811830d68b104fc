"""The one task of the queue."""

from __future__ import annotations

from django_tasks import task

from office.work import doing


@task()
def do_work(key: str) -> None:
    """Do the piece of work with this key."""
    doing.do(key)
