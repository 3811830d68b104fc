"""The review page: the evidence it shows, and every decision by every kind of person."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from office.audit import trail
from office.desk.history import courses_of
from office.desk.queue import weigh
from office.people.models import Person
from surveys import actions
from surveys.figures import derive_visit
from surveys.history import accepted_before
from surveys.models import Query, Reading, Visit, VisitState
from surveys.queries import with_content
from tests.cast import Cast, make_person
from tests.surveys.makers import SAMPLES, Stage, sheet
from tests.surveys.test_diagnosis import amended, of_one_design


def open_page(client: Client, person: Person, visit: Visit) -> str:
    client.force_login(person)
    answer = client.get(reverse("desk:review", args=[visit.key]))
    assert answer.status_code == 200
    return answer.content.decode()


def post(client: Client, person: Person, visit: Visit, verb: str, **data: object) -> int:
    client.force_login(person)
    return client.post(reverse(f"desk:{verb}", args=[visit.key]), data).status_code


def state(visit: Visit) -> str:
    return Visit.objects.get(pk=visit.pk).state


def second_visit(stage: Stage) -> Visit:
    """The boat's next visit, a year on, her lower band painted 30 mm higher."""
    stage.visit("accepted")
    visit = stage.visit("draft")
    later = sheet(SAMPLES / "quiet_margin_2024.csv")
    actions.take_log_sheet(by=stage.cast.measurer, visit=visit, sheet=later, filename="2024.csv")
    stage.sign(visit)
    return visit


def copies(visit: Visit, number: int) -> None:
    """As many more accepted visits with the same readings, a month apart, before this one."""
    readings = list(visit.readings.all())
    assert visit.date is not None
    for months in range(1, number + 1):
        visit.pk, visit.key, visit._state.adding = None, f"{months:016}", True
        visit.date -= dt.timedelta(days=30)
        visit.save()
        for reading in readings:
            reading.pk, reading.visit = None, visit
        Reading.objects.bulk_create(readings)


class TestEvidence:
    def test_a_first_visit_says_there_is_nothing_to_compare_with(self, client: Client, stage: Stage) -> None:
        page = open_page(client, stage.cast.reviewer, stage.visit("signed"))
        assert "nothing to compare with" in page
        assert "Luff between the bands" in page

    def test_a_band_moved_is_named_with_what_carried_it(self, client: Client, stage: Stage) -> None:
        page = open_page(client, stage.cast.reviewer, second_visit(stage))
        assert "changed beyond measuring noise" in page
        assert re.search(r"The lower band was moved 3\d mm", page)
        assert "What carried the change: Luff" in page
        assert page.index('id="causes"') < page.index('id="figures"') < page.index('id="decision"')

    def test_each_dimension_stands_over_the_visits_the_changed_ones_first(self, client: Client, stage: Stage) -> None:
        assert 'id="courses"' not in open_page(client, stage.cast.reviewer, stage.visit("signed"))
        page = open_page(client, stage.cast.reviewer, second_visit(stage))
        courses = page[page.index('id="courses"') : page.index('id="readings"')]
        moved, steady = courses.split("<details")
        assert "course-luff-main-title" in moved
        assert "course-boom_depth-main-title" in steady
        assert "course-foot-main-title" not in moved

    def test_the_band_is_the_noise_of_this_change(self, stage: Stage) -> None:
        visit = with_content(Visit.objects.filter(pk=second_visit(stage).pk)).get()
        earlier = accepted_before(visit)
        waiting = weigh(visit, earlier[-1])
        assert waiting.comparison is not None
        changes = {one.slug: one for one in waiting.comparison.changes}
        for course in courses_of(waiting, earlier):
            assert course.band is not None
            inside = course.band[0] <= course.points[-1].value <= course.band[1]
            assert inside == (abs(changes[course.last.slug].en or 0.0) <= 1.0), course.name

    def test_fifty_visits_ask_no_more_than_two_and_at_most_25_questions(self, client: Client, stage: Stage) -> None:
        of_one_design(stage, 5)
        visit = second_visit(stage)
        client.force_login(stage.cast.reviewer)
        address = reverse("desk:review", args=[visit.key])
        with CaptureQueriesContext(connection) as two:
            client.get(address)
        copies(Visit.objects.get(state="accepted", boat=stage.boat), 48)
        with CaptureQueriesContext(connection) as fifty:
            assert "49 accepted visits and, last, this one" in client.get(address).content.decode()
        assert len(fifty) <= len(two)
        assert len(fifty) <= 25

    def test_a_figure_unlike_her_sisters_is_told(self, client: Client, stage: Stage) -> None:
        of_one_design(stage, 5)
        visit = stage.visit("draft")
        stage.fill(visit)
        amended(stage, visit, "foot_distance", 100.0)
        visit.refresh_from_db()
        stage.sign(visit)
        unlike = r"Foot is [^;]+; the median of 5 sister boats is"
        assert re.search(unlike, open_page(client, stage.cast.reviewer, visit))
        assert not re.search(unlike, open_page(client, stage.cast.reviewer, second_visit(stage)))

    def test_an_amendment_and_its_reason_can_be_read(self, client: Client, stage: Stage) -> None:
        visit = stage.visit("draft")
        stage.fill(visit)
        reading = visit.readings.get(slug="pole_length")
        actions.amend_reading(
            by=stage.cast.measurer,
            reading=reading,
            text="3703",
            unit="",
            instrument=reading.instrument,
            reason="end fitting out",
        )
        visit.refresh_from_db()
        stage.sign(visit)
        page = open_page(client, stage.cast.reviewer, visit)
        assert "end fitting out" in page
        assert f"<del>{reading.written}</del>" in page

    def test_a_settled_check_stands_with_its_reason_in_words(self, client: Client, stage: Stage) -> None:
        visit = stage.visit("draft")
        stage.fill(visit)
        reading = visit.readings.get(slug="taper_length")
        actions.withdraw_reading(by=stage.cast.measurer, reading=reading, reason="read on another mast")
        visit.refresh_from_db()
        stop = next(one for one in derive_visit(visit).unsettled_stops if one.check == "reading_missing")
        actions.settle_check(
            by=stage.cast.measurer, visit=visit, check_key=stop.key, reason="The taper is hidden by a cap."
        )
        visit.refresh_from_db()
        stage.sign(visit)
        page = open_page(client, stage.cast.reviewer, visit)
        assert stop.message in page
        assert "Mara Lind let it stand: The taper is hidden by a cap." in page
        assert stop.key not in page

    def test_hostile_texts_stay_texts(self, client: Client, stage: Stage) -> None:
        visit = stage.visit("under_review")
        actions.ask_query(
            by=stage.cast.reviewer, visit=visit, slug="", mast="", position="", question="<script>alert(1)</script>"
        )
        page = open_page(client, stage.cast.reviewer, visit)
        assert "<script>alert(1)</script>" not in page
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


class TestDecision:
    def test_the_whole_way(self, client: Client, stage: Stage) -> None:
        visit, by = stage.visit("signed"), stage.cast.reviewer
        assert post(client, by, visit, "begin_review") == 302
        assert state(visit) == VisitState.UNDER_REVIEW
        edition = Visit.objects.get(pk=visit.pk).edition
        assert post(client, by, visit, "accept_visit", edition=edition, reason="All as last year.") == 302
        accepted = Visit.objects.get(pk=visit.pk)
        assert (accepted.state, accepted.reviewer, accepted.acceptance_reason) == ("accepted", by, "All as last year.")

    def test_a_question_goes_back_with_the_visit(self, client: Client, stage: Stage) -> None:
        visit, by = stage.visit("under_review"), stage.cast.reviewer
        assert post(client, by, visit, "ask_query", about="luff_between_bands|main|", question="Which edge?") == 302
        query = Query.objects.get(visit=visit)
        assert (query.slug, query.mast, query.question) == ("luff_between_bands", "main", "Which edge?")
        assert post(client, by, visit, "return_visit", reason="One question.") == 302
        assert state(visit) == VisitState.RETURNED

    @pytest.mark.parametrize("verb", ["begin_review", "ask_query", "return_visit", "accept_visit"])
    def test_others_are_refused_and_nothing_changes(self, client: Client, stage: Stage, verb: str) -> None:
        visit = stage.visit("signed" if verb == "begin_review" else "under_review")
        data = {"edition": visit.edition, "reason": "Fine.", "question": "Why?", "about": ""}
        before = trail.head()
        for part, person in stage.cast.people().items():
            if part != "reviewer":
                assert post(client, person, visit, verb, **data) in {403, 409}, part
        assert trail.head() == before

    def test_a_reviewer_who_measured_it_is_refused(self, client: Client, stage: Stage) -> None:
        from office.people.models import Role, RoleHolding

        RoleHolding.objects.create(person=stage.cast.measurer, role=Role.REVIEWER)
        visit = stage.visit("signed")
        assert post(client, Person.objects.get(pk=stage.cast.measurer.pk), visit, "begin_review") == 403
        assert state(visit) == VisitState.SIGNED

    def test_a_second_click_is_refused(self, client: Client, stage: Stage) -> None:
        visit, by = stage.visit("under_review"), stage.cast.reviewer
        edition = visit.edition
        assert post(client, by, visit, "accept_visit", edition=edition, reason="Fine.") == 302
        assert post(client, by, visit, "accept_visit", edition=edition, reason="Fine.") == 409
        assert visit.sign_offs.filter(meaning="accepted").count() == 1

    def test_a_page_grown_old_is_said_and_keeps_what_was_typed(self, client: Client, stage: Stage) -> None:
        visit, by = stage.visit("under_review"), stage.cast.reviewer
        old = visit.edition
        actions.ask_query(by=by, visit=visit, slug="", mast="", position="", question="Anything else?")
        client.force_login(by)
        answer = client.post(
            reverse("desk:accept_visit", args=[visit.key]), {"edition": old, "reason": "My long reason."}
        )
        assert answer.status_code == 409
        assert "My long reason." in answer.content.decode()
        assert state(visit) == VisitState.UNDER_REVIEW

    def test_accepting_needs_words(self, client: Client, stage: Stage) -> None:
        visit = stage.visit("under_review")
        assert post(client, stage.cast.reviewer, visit, "accept_visit", edition=visit.edition, reason="  ") == 422
        assert state(visit) == VisitState.UNDER_REVIEW

    def test_an_owner_among_the_reviewers_is_refused(self, client: Client, stage: Stage) -> None:
        from boats.actions import declare_interest
        from office.people.models import Role

        party = make_person("Ulla Brem", Role.REVIEWER)
        declare_interest(
            by=stage.cast.administrator,
            boat=stage.boat,
            person=party,
            kind="builder",
            since=dt.date(2021, 1, 1),
        )
        visit = stage.visit("signed")
        assert post(client, party, visit, "begin_review") == 403


def test_the_first_page_shows_each_their_own(client: Client, stage: Stage, cast: Cast) -> None:
    stage.visit("signed")
    words = {
        "measurer": "Your visits",
        "reviewer": "The queue",
        "certifier": "Accepted, without a certificate",
        "owner": "Quiet Margin",
        "race_committee": "Check any boat",
    }
    for part, expected in words.items():
        client.force_login(getattr(cast, part))
        assert expected in client.get(reverse("home")).content.decode(), part
    client.force_login(cast.other_owner)
    assert "Quiet Margin" not in client.get(reverse("home")).content.decode()
    client.logout()
    assert "No sign-in is needed" in client.get(reverse("home")).content.decode()
