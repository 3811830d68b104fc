"""The figures of a campaign, for whoever runs it with pytest's `-s`."""

from __future__ import annotations


def tell(sentence: str) -> None:
    print(f"\n{sentence}", flush=True)  # noqa: T201
