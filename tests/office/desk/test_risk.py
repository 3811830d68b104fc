"""What makes a visit stand high in the queue."""

from __future__ import annotations

from computations.results import Change, CheckResult
from office.desk.risk import assess


def change(verdict: str, en: float, slug: str = "luff") -> Change:
    return Change("P", slug, "main", "mm", 10000.0, 2.0, 10000.0 + en, 2.0, en, 1.0, en, verdict)


def quiet() -> dict[str, int]:
    return {"amendments": 0, "exceptions": 0, "open_queries": 0}


def test_nothing_to_look_at_weighs_nothing() -> None:
    risk = assess(changes=[change("within_noise", 0.3)], checks=[], **quiet())
    assert (risk.score, risk.reasons) == (0.0, ())


def test_a_real_change_outweighs_many_small_ones() -> None:
    real = assess(changes=[change("changed", 8.0)], checks=[], **quiet())
    small = assess(changes=[change("changed_below_limit", 1.5)] * 6, checks=[], **quiet())
    assert real.score > small.score
    assert real.reasons == ("1 dimension changed, most of all the luff",)


def test_a_settled_stop_outweighs_a_check_to_look_at() -> None:
    stop = assess(changes=[], checks=[CheckResult("a", "stop", "A.")], **quiet())
    ask = assess(changes=[], checks=[CheckResult("a", "ask", "A.")], **quiet())
    note = assess(changes=[], checks=[CheckResult("a", "note", "A.")], **quiet())
    assert stop.score > ask.score > note.score == 0.0


def test_everything_that_counts_is_said_in_words_heaviest_first() -> None:
    risk = assess(
        changes=None,
        checks=[CheckResult("a", "stop", "A."), CheckResult("b", "ask", "B.")],
        amendments=2,
        exceptions=1,
        open_queries=1,
    )
    assert risk.reasons == (
        "1 check settled by a reason",
        "measured under an exception",
        "no earlier visit to compare with",
        "1 check to look at",
        "1 open query",
        "2 amended readings",
    )


def test_a_change_beyond_all_measure_is_bounded() -> None:
    far, further = (assess(changes=[change("changed", en)], checks=[], **quiet()).score for en in (50.0, 5000.0))
    assert far == further
