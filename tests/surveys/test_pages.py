"""The pages of visits and instruments, as a browser without JavaScript uses them, and the fragments besides."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from boats import actions as boat_actions
from office.audit import trail
from office.people.models import Person
from surveys import actions, instrument_urls, urls
from surveys.models import Instrument, Reading, Visit
from surveys.paper import pages
from surveys.queries import current_readings
from tests.cast import PASSWORD
from tests.surveys.makers import SHEET, VISIT_DAY, Stage

pytestmark = pytest.mark.any_database


def as_(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def page(client: Client, name: str, *args: Any, query: str = "") -> str:
    answer = client.get(reverse(f"surveys:{name}", args=args) + query)
    assert answer.status_code == 200, answer.content.decode()[:2000]
    return text_of(answer)


def text_of(answer: Any) -> str:
    text: str = answer.content.decode()
    ids = re.findall(r'\bid="([^"]+)"', text)
    assert len(ids) == len(set(ids)), sorted(one for one in set(ids) if ids.count(one) > 1)
    assert " style=" not in text
    return text


# ---- Who reaches which page ----

SHOWN_TO_OWNERS = {"visit", "export", "budget", "budget_paper", "budget_file", "drawing", "photos"}
KEYED = [one for one in urls.urlpatterns if "key" in one.pattern.converters]


def arguments(name: str, visit: Visit) -> list[Any]:
    special: dict[str, list[Any]] = {
        "store_one": [visit.key, "foot_distance-main-one"],
        "reading": [visit.key, "foot_distance", "main", 1],
        "withdraw": [visit.key, "foot_distance", "main", 1],
        "answer": [visit.key, visit.queries.get().key],
        "absent": [visit.key, "taper_length-main-one"],
        "photo": [visit.key, "a-photo"],
        "remove_photo": [visit.key, "a-photo"],
    }
    return special.get(name, [visit.key])


@pytest.mark.parametrize("name", [str(one.name) for one in KEYED])
def test_pages_of_a_visit_by_role(stage: Stage, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Strangers, other owners, other measurers and the race committee see nothing of it; nobody ever gets a 500."""
    monkeypatch.setattr(pages, "all_budgets", lambda shown, size: b"%PDF")  # takes seconds, and is no one's right
    visit = stage.visit("returned")
    url = reverse(f"surveys:{name}", args=arguments(name, visit))
    for part, person in stage.cast.people().items():
        for method in ("get", "post"):
            status = getattr(as_(person), method)(url).status_code
            assert status < 500, (part, method)
            if part in {"stranger", "other_owner", "second_measurer", "race_committee"}:
                assert status in {403, 405}, (part, method, status)
            if part == "owner" and name not in SHOWN_TO_OWNERS and (method, name) != ("get", "reading"):
                assert status in {403, 404, 405, 409}, (part, method, status)
    assert Client().get(url).status_code in ({401, 405} if name.startswith("dock_") else {302, 405})


@pytest.mark.parametrize("name", [str(one.name) for one in instrument_urls.urlpatterns])
def test_pages_of_instruments_by_role(stage: Stage, name: str) -> None:
    url = reverse(f"instruments:{name}", args={"list": [], "record": [], "export": ["csv"]}.get(name, ["T-03"]))
    readers = {"measurer", "second_measurer", "reviewer", "certifier", "administrator"}
    keepers = {"reviewer", "certifier", "administrator"}
    allowed = readers if name in {"list", "instrument", "export", "label"} else keepers
    for part, person in stage.cast.people().items():
        assert as_(person).get(url).status_code == (200 if part in allowed else 403), part
        assert as_(person).post(url).status_code == ((200 if allowed is readers else 422) if part in allowed else 403)


@pytest.mark.parametrize("name", [str(one.name) for one in KEYED])
def test_a_visit_that_does_not_exist(stage: Stage, name: str) -> None:
    visit = stage.visit("returned")
    args = ["nowhere", *arguments(name, visit)[1:]]
    assert as_(stage.cast.administrator).post(reverse(f"surveys:{name}", args=args)).status_code in {404, 405}


# ---- The list ----


def test_the_list_is_filtered_by_its_address(stage: Stage) -> None:
    draft, accepted = stage.visit("draft"), stage.visit("accepted")
    client = as_(stage.cast.administrator)

    def shown(query: str) -> set[str]:
        text = text_of(client.get(reverse("surveys:list") + query))
        return {one for one in (draft.key, accepted.key) if one in text}

    both = {draft.key, accepted.key}
    assert shown("") == both
    assert shown("?state=open") == {draft.key}
    assert shown("?state=accepted") == {accepted.key}
    assert shown("?q=quiet") == both
    assert shown("?q=ske0214") == both
    assert shown("?q=214") == both
    assert shown("?q=mara+lind") == both
    assert shown("?q=nobody") == set()
    assert shown("?until=2023-12-31") == {accepted.key}
    assert shown(f"?since={timezone.localdate()}") == {draft.key}
    assert shown("?since=never") == set()
    assert shown("?state=accepted&sort=boat&page=999") == {accepted.key}
    assert shown("?sort=nonsense&q=%00%27%22<script>") == set()


def test_the_lists_queries_do_not_grow_with_its_rows(
    stage: Stage, django_assert_max_num_queries: Any, django_assert_num_queries: Any
) -> None:
    client, url = as_(stage.cast.administrator), reverse("surveys:list")
    stage.visit("accepted")
    client.get(url)
    with django_assert_max_num_queries(12) as few:
        client.get(url)
    for state in ("returned", "draft", "planned", "called_off", "signed"):
        stage.visit(state)
    with django_assert_num_queries(len(few)):
        client.get(url)


def test_the_list_goes_out_as_a_file(stage: Stage) -> None:
    stage.visit("accepted")
    client = as_(stage.cast.administrator)
    csv = client.get(reverse("surveys:export_list", args=["csv"]) + "?state=accepted").content.decode()
    assert "Quiet Margin,SKE 214,Accepted,2023-05-16" in csv
    assert client.get(reverse("surveys:export_list", args=["xlsx"])).content.startswith(b"PK")
    assert client.get(reverse("surveys:export_list", args=["doc"])).status_code == 404


def test_everybody_lists_only_what_they_may_see(stage: Stage) -> None:
    visit = stage.visit("draft")
    for part in ("measurer", "owner", "reviewer", "administrator"):
        assert visit.key in page(as_(getattr(stage.cast, part)), "list")
    for part in ("second_measurer", "other_owner"):
        assert visit.key not in page(as_(getattr(stage.cast, part)), "list")


# ---- From the request to the first reading ----


def test_an_owner_asks_and_the_office_plans(stage: Stage) -> None:
    owner, office = as_(stage.cast.owner), as_(stage.cast.administrator)
    assert stage.boat.key in page(owner, "choose_boat", query="?q=qui")
    url = reverse("surveys:ask", args=[stage.boat.key])
    assert owner.post(url, {"request": ""}).status_code == 422
    assert owner.post(url, {}).status_code == 422
    owner.post(url, {"request": "The mast is new."})
    visit = Visit.objects.get()
    assert (visit.state, visit.request) == ("asked_for", "The mast is new.")
    twice = owner.post(url, {"request": "The mast is new."})
    assert twice.status_code == 422
    assert "asked for already" in text_of(twice)
    assert "The mast is new." in page(office, "plan", visit.key)
    plan = {"measurer": stage.cast.measurer.key, "planned_on": "2026-12-01", "harbour": "Skerrin Haven"}
    assert office.post(reverse("surveys:plan", args=[visit.key]), plan).status_code == 302
    visit.refresh_from_db()
    assert (visit.state, visit.measurer) == ("planned", stage.cast.measurer)
    measurer = as_(stage.cast.measurer)
    assert "Begin the visit" in page(measurer, "visit", visit.key)
    assert "overhead power lines" in page(measurer, "visit", visit.key)
    assert measurer.post(reverse("surveys:begin", args=[visit.key])).status_code == 302
    assert measurer.post(reverse("surveys:begin", args=[visit.key])).status_code == 409


def test_an_interested_measurer_is_not_in_the_list_until_the_office_says_why(stage: Stage) -> None:
    person = stage.cast.second_measurer
    boat_actions.declare_interest(
        by=stage.cast.administrator, boat=stage.boat, person=person, kind="builder", since=dt.date(2020, 1, 1)
    )
    visit, office = stage.visit("asked_for"), as_(stage.cast.administrator)
    option = f'<option value="{person.key}">'
    before = page(office, "plan", visit.key)
    assert option not in before
    assert "Teo Varga (builder)" in before
    refused = office.post(
        reverse("surveys:plan", args=[visit.key]), {"measurer": person.key, "planned_on": "2026-12-01", "harbour": "x"}
    )
    assert refused.status_code == 422
    exception = reverse("surveys:exception", args=[visit.key]) + f"?person={person.key}"
    assert "builder" in text_of(office.get(exception))
    assert office.post(exception, {"reason": ""}).status_code == 422
    assert office.post(exception, {"reason": "The only one within reach."}).status_code == 302
    assert option in page(office, "plan", visit.key)


# ---- Conditions ----

CONDITIONS = {
    "date": "2023-05-16",
    "place": "North yard",
    "air_temperature": "58,1",
    "temperature_unit": "degF",
    "interest": "none",
    "state-main": "ashore",
    "contrast-main": "yes",
    "prepared-main-supported_straight": "yes",
    "remark-main-supported_straight": "four trestles",
}


def test_conditions_and_preparation_are_stored_together(stage: Stage) -> None:
    visit = stage.visit()
    url, client = reverse("surveys:conditions", args=[visit.key]), as_(stage.cast.measurer)
    assert client.post(url, {**CONDITIONS, "edition": visit.edition}).status_code == 302
    visit.refresh_from_db()
    assert visit.air_temperature_c == pytest.approx(14.5)
    assert (visit.place, visit.date, visit.mast_state) == ("North yard", VISIT_DAY, {"main": "ashore"})
    assert visit.preparation.get().remark == "four trestles"


@pytest.mark.parametrize(
    ("field", "typed"),
    [
        ("date", "2999-01-01"),
        ("date", "16.5.2023"),
        ("air_temperature", "NaN"),
        ("air_temperature", "1e400"),
        ("air_temperature", "900"),
        ("place", ""),
        ("interest", "cousin"),
        ("state-main", "flying"),
        ("remark-main-supported_straight", "x" * 201),
        ("edition", "first"),
    ],
)
def test_conditions_that_cannot_be_are_said_beside_the_field_and_kept(stage: Stage, field: str, typed: str) -> None:
    visit = stage.visit()
    before = Visit.objects.filter(pk=visit.pk).values().get()
    given = {**CONDITIONS, "edition": visit.edition, field: typed}
    answer = as_(stage.cast.measurer).post(reverse("surveys:conditions", args=[visit.key]), given)
    assert answer.status_code == 422
    assert "to put right" in (text := text_of(answer))
    assert typed in text or field in {"interest", "state-main"}
    assert Visit.objects.filter(pk=visit.pk).values().get() == before
    assert not visit.preparation.exists()


def test_a_stale_form_says_what_changed_loses_nothing_and_can_be_sent_again(stage: Stage) -> None:
    visit = stage.visit()
    seen = visit.edition
    actions.set_conditions(by=stage.cast.measurer, visit=visit, edition=seen, place="South yard")
    url, client = reverse("surveys:conditions", args=[visit.key]), as_(stage.cast.measurer)
    answer = client.post(url, {**CONDITIONS, "edition": seen})
    assert answer.status_code == 422
    text = text_of(answer)
    assert "has been changed since" in text
    assert "South yard" in text
    assert 'value="North yard"' in text
    assert f'name="edition" value="{visit.edition}"' in text
    assert client.post(url, {**CONDITIONS, "edition": visit.edition}).status_code == 302
    visit.refresh_from_db()
    assert visit.place == "North yard"


# ---- Readings ----


def typed(**rows: str) -> dict[str, str]:
    """A form of the readings page: row key (with _ for -) and value."""
    return {key: value for name, text in rows.items() for key, value in {f"{name}-main-one-value": text}.items()}


def test_the_page_lists_what_this_rig_has_in_the_order_one_walks(stage: Stage) -> None:
    text = page(as_(stage.cast.measurer), "readings", stage.visit().key)
    names = re.findall(r'id="row-([a-z_]+)-', text)
    assert names.index("luff_between_bands") < names.index("foretriangle_base") < names.index("pole_length")
    assert "luff_to_sheave" not in names
    assert "outrigger_reach" not in names
    assert "mast_separation" not in names


def test_without_javascript_everything_typed_is_stored_at_once(stage: Stage) -> None:
    visit, client = stage.visit(), as_(stage.cast.measurer)
    url = reverse("surveys:readings", args=[visit.key])
    given = {
        **typed(luff_between_bands="39 ft 10 3/8 in", foot_distance="4123"),
        "foot_distance-main-one-unit": "mm",
        "foot_distance-main-one-instrument": "T-03",
        "band_to_sheer-main-port-value": "1764",
        "spinnaker_halyard_above_band-main-new-value": "12238",
        "spinnaker_halyard_above_band-main-new-position": "masthead",
    }
    assert client.post(url, given).status_code == 302
    stored = {(one.slug, one.position): one for one in current_readings(visit)}
    assert stored["luff_between_bands", ""].value == pytest.approx(12150.725)
    assert stored["luff_between_bands", ""].as_written == "39 ft 10 3/8 in"
    assert stored["foot_distance", ""].instrument == stage.kit["T-03"]
    assert stored["spinnaker_halyard_above_band", "masthead"].value == 12238.0
    assert stored["band_to_sheer", "port"].value == 1764.0
    assert len(stored) == 4


def test_one_wrong_value_stores_nothing_and_keeps_everything_typed(stage: Stage) -> None:
    visit, client = stage.visit(), as_(stage.cast.measurer)
    head = trail.head()
    given = typed(luff_between_bands="12150", foot_distance="four metres", foretriangle_base="-3640")
    answer = client.post(reverse("surveys:readings", args=[visit.key]), given)
    assert answer.status_code == 422
    text = text_of(answer)
    assert "2 readings to put right" in text
    for value in ("12150", "four metres", "-3640"):
        assert f'value="{value}"' in text
    assert 'id="foot_distance-main-one-value-error"' in text
    assert "not negative" in text
    assert not visit.readings.exists()
    assert trail.head() == head


def test_a_form_sent_twice_is_not_two_takes(stage: Stage) -> None:
    visit, client = stage.visit(), as_(stage.cast.measurer)
    url = reverse("surveys:readings", args=[visit.key])
    given = {**typed(foot_distance="4123"), "foot_distance-main-one-take": "1"}
    client.post(url, given)
    assert client.post(url, given).status_code == 302
    assert visit.readings.count() == 1
    other = client.post(url, {**given, "foot_distance-main-one-value": "4125"})
    assert other.status_code == 422
    assert "is there already" in text_of(other)
    assert 'value="4125"' in text_of(other)
    assert client.post(url, {**given, "foot_distance-main-one-take": "2"}).status_code == 302
    assert [one.take for one in visit.readings.order_by("pk")] == [1, 2]


@pytest.mark.parametrize("value", ["NaN", "1e400", "-5", "0", "9" * 60, "<script>", "12 150 mm long", "=1+1"])
def test_one_reading_at_a_time_says_what_was_expected(stage: Stage, value: str) -> None:
    visit, client = stage.visit(), as_(stage.cast.measurer)
    answer = client.post(
        reverse("surveys:store_one", args=[visit.key, "foot_distance-main-one"]), typed(foot_distance=value)
    )
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "Expected" in text
    assert "<script>" not in text
    assert not visit.readings.exists()


def test_one_reading_brings_its_row_the_panel_and_the_figure_read_back(stage: Stage) -> None:
    visit, client = stage.visit(), as_(stage.cast.measurer)
    url = reverse("surveys:store_one", args=[visit.key, "foot_distance-main-one"])
    given = {
        **typed(foot_distance="4123"),
        "foot_distance-main-one-instrument": "T-03",
        "foot_distance-main-one-unit": "mm",
    }
    text = client.post(url, given, headers={"hx-request": "true"}).content.decode()
    assert 'id="row-foot_distance-main-one"' in text
    assert 'id="panel" hx-swap-oob="true"' in text
    assert "4\u202f123 mm stored" in text
    assert "Take 2" in text
    assert "Not read: Foot along the boom" not in text
    assert client.post(reverse("surveys:store_one", args=[visit.key, "no-such-row"]), {}).status_code == 404


def test_a_first_halyard_gets_a_row_of_its_own(stage: Stage) -> None:
    visit, client = stage.visit(), as_(stage.cast.measurer)
    key = "spinnaker_halyard_above_band-main-new"
    url = reverse("surveys:store_one", args=[visit.key, key])
    assert client.post(url, {f"{key}-value": "12238"}).status_code == 422
    text = client.post(url, {f"{key}-value": "12238", f"{key}-position": "mast<head"}).content.decode()
    assert text.count('<article class="reading"') == 2
    assert "mast&lt;head" in text


def test_the_instrument_offered_first_suits_the_reading(stage: Stage) -> None:
    """The only calliper for a section, the tape that was used last for a length."""
    second = actions.record_instrument(by=stage.cast.administrator, identifier="T-04", kind="steel_tape")
    visit, client = stage.visit(), as_(stage.cast.measurer)

    def offered(key: str) -> list[str]:
        row = page(client, "readings", visit.key).split(f'id="row-{key}"')[1].split("</article>")[0]
        return re.findall(r"<option selected>([^<]+)</option>", row)

    assert offered("section_fore_aft_lower-main-one") == ["mm", "C-02"]
    assert offered("foretriangle_base-main-one") == ["mm"]
    actions.record_reading(
        by=stage.cast.measurer, visit=visit, slug="foot_distance", mast="main", position="", take=1, text="4123",
        unit="mm", instrument=second,
    )  # fmt: skip
    assert offered("foretriangle_base-main-one") == ["mm", "T-04"]
    assert offered("section_fore_aft_lower-main-one") == ["mm", "C-02"]


def test_an_unknown_instrument_is_refused_beside_its_field(stage: Stage) -> None:
    visit = stage.visit()
    given = {**typed(foot_distance="4123"), "foot_distance-main-one-instrument": "T-99"}
    answer = as_(stage.cast.measurer).post(reverse("surveys:readings", args=[visit.key]), given)
    assert answer.status_code == 422
    assert 'id="foot_distance-main-one-instrument-error"' in text_of(answer)
    assert not visit.readings.exists()


def test_amending_and_taking_away_over_the_pages(stage: Stage) -> None:
    visit, client = stage.visit("returned"), as_(stage.cast.measurer)
    reading = next(one for one in current_readings(visit) if one.slug == "band_to_sheer" and one.position == "port")
    url = reverse("surveys:reading", args=[visit.key, "band_to_sheer", "main", 1]) + "?position=port"
    assert reading.as_written in text_of(client.get(url))
    given = {"text": "1766", "unit": "mm", "instrument": "R-01", "remark": "", "reason": ""}
    refused = client.post(url, given)
    assert refused.status_code == 422
    assert 'value="1766"' in text_of(refused)
    assert client.post(url, {**given, "text": "NaN", "reason": "x"}).status_code == 422
    assert client.post(url, {**given, "reason": "Sheer point found anew."}).status_code == 302
    text = text_of(client.get(url))
    assert "1766 mm" in text
    assert "Sheer point found anew." in text
    assert reading.as_written in text
    away = reverse("surveys:withdraw", args=[visit.key, "band_to_sheer", "main", 1]) + "?position=port"
    assert client.post(away, {"reason": ""}).status_code == 422
    assert client.post(away, {"reason": "Wrong boat."}).status_code == 302
    assert client.post(away, {"reason": "Wrong boat."}).status_code == 422
    assert "taken away" in page(client, "visit", visit.key)


# ---- Upload and export ----


def upload(stage: Stage, visit: Visit, content: bytes, name: str = "sheet.csv", **more: str) -> Any:
    file = SimpleUploadedFile(name, content)
    return as_(stage.cast.measurer).post(reverse("surveys:upload", args=[visit.key]), {"file": file, **more})


def test_a_sheet_is_uploaded_and_comes_out_again(stage: Stage) -> None:
    visit = stage.visit()
    assert upload(stage, visit, SHEET.read_bytes()).status_code == 302
    assert len(current_readings(visit)) == 31
    client = as_(stage.cast.measurer)
    url = reverse("surveys:export", args=[visit.key])
    csv = client.get(url)
    assert csv["Content-Disposition"] == 'attachment; filename="SKE214-2023-05-16.csv"'
    assert b"luff_between_bands" in csv.content
    assert client.get(url + "?format=xlsx").content.startswith(b"PK")
    assert client.get(url + "?format=exe").status_code == 404
    fresh = stage.visit()
    assert upload(stage, fresh, csv.content).status_code == 302
    assert client.get(reverse("surveys:export", args=[fresh.key])).content == csv.content


GOOD = SHEET.read_bytes()
BAD_FILES = {
    "empty": (b"", "sheet.csv"),
    "not utf-8": (GOOD.replace(b"Quiet", b"Qui\xe9t"), "sheet.csv"),
    "2 MiB and a byte": (GOOD + b"#" * (2 * 1024 * 1024 + 1 - len(GOOD)), "sheet.csv"),
    "no columns": (b"hello\n1,2,3\n", "sheet.csv"),
    "not a number": (GOOD.replace(b",4123,", b",NaN,"), "sheet.csv"),
    "too great": (GOOD.replace(b",4123,", b",1e400,"), "sheet.csv"),
    "negative": (GOOD.replace(b",4123,", b",-4123,"), "sheet.csv"),
    "in the future": (GOOD.replace(b"2023-05-16", b"2999-05-16"), "sheet.csv"),
    "unknown instrument": (GOOD.replace(b"4123,mm,T-03", b"4123,mm,T-99"), "sheet.csv"),
    "twice": (GOOD + b"reading,foot_distance,main,,1,4123,mm,T-03,\n", "sheet.csv"),
    "another boat": (GOOD.replace(b"SKE 214", b"SKE 215"), "sheet.csv"),
    "nonsense in a zip": (b"PK\x03\x04" + b"\0" * 200, "sheet.xlsx"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + b"\0" * 100, "sheet.csv"),
}


@pytest.mark.parametrize("what", list(BAD_FILES))
def test_a_bad_file_stores_nothing_and_says_where_and_what(stage: Stage, what: str) -> None:
    content, name = BAD_FILES[what]
    assert content != GOOD
    visit = stage.visit()
    rows, head = Visit.objects.filter(pk=visit.pk).values().get(), trail.head()
    answer = upload(stage, visit, content, name)
    assert answer.status_code == 422
    text = text_of(answer)
    assert "Expected" in text or "submitted file is empty" in text
    assert Reading.objects.count() == 0
    assert visit.preparation.count() == 0
    assert Visit.objects.filter(pk=visit.pk).values().get() == rows
    assert trail.head() == head


def test_other_values_are_amended_only_when_ticked_and_with_a_reason(stage: Stage) -> None:
    visit = stage.visit()
    upload(stage, visit, GOOD)
    other = GOOD.replace(b",4123,", b",4125,")
    assert other != GOOD
    refused = upload(stage, visit, other)
    assert refused.status_code == 422
    assert "4123 mm, as stored" in text_of(refused)
    assert upload(stage, visit, other, amend="on").status_code == 422
    assert upload(stage, visit, other, amend="on", reason="Read again.").status_code == 302
    assert next(one.value for one in current_readings(visit) if one.slug == "foot_distance") == 4125.0


def test_an_upload_without_a_file_asks_for_one(stage: Stage) -> None:
    visit = stage.visit()
    answer = as_(stage.cast.measurer).post(reverse("surveys:upload", args=[visit.key]), {"file": "sheet.csv"})
    assert answer.status_code == 422


# ---- Settle, sign, answer ----


def test_settling_and_signing_over_the_pages(stage: Stage) -> None:
    visit, client = stage.visit(), as_(stage.cast.measurer)
    stage.fill(visit)
    stage.break_something(visit)
    sign = reverse("surveys:sign", args=[visit.key])
    assert "Not ready yet" in text_of(client.get(sign))
    settle = reverse("surveys:settle", args=[visit.key]) + f"?check={stage.stop_key}"
    assert settle.split("?")[0] in page(client, "visit", visit.key)
    assert client.post(settle, {"reason": ""}).status_code == 422
    assert client.post(settle, {"reason": "The thermometer is broken."}).status_code == 302
    assert client.get(reverse("surveys:settle", args=[visit.key]) + "?check=nothing").status_code == 404
    visit.refresh_from_db()
    ready = text_of(client.get(sign))
    assert "Ready" in ready
    shown = re.search(r"[0-9a-f]{64}", ready)
    assert shown is not None
    wrong = client.post(sign, {"edition": visit.edition, "password": "wrong"})
    assert wrong.status_code == 422
    assert "password is not right" in text_of(wrong)
    stale = client.post(sign, {"edition": visit.edition - 1, "password": PASSWORD})
    assert stale.status_code == 422
    assert "has been changed since" in text_of(stale)
    assert client.post(sign, {"edition": visit.edition, "password": PASSWORD}).status_code == 302
    assert visit.sign_offs.get().content_sha256 == shown[0]
    again = client.post(sign, {"edition": visit.edition, "password": PASSWORD})
    assert again.status_code == 422
    assert visit.sign_offs.count() == 1
    assert client.get(reverse("surveys:readings", args=[visit.key])).status_code == 409


def test_a_query_is_shown_at_its_reading_and_answered(stage: Stage) -> None:
    visit, client = stage.visit("returned"), as_(stage.cast.measurer)
    query = visit.queries.get()
    url = reverse("surveys:answer", args=[visit.key, query.key])
    readings = page(client, "readings", visit.key)
    row = readings.split('id="row-luff_between_bands-main-one"')[1].split("</article>")[0]
    assert query.question in row
    assert url in row
    assert client.post(url, {"answer": ""}).status_code == 422
    assert client.post(url, {"answer": "The bottom edge."}).status_code == 302
    assert client.post(url, {"answer": "Twice."}).status_code == 422
    query.refresh_from_db()
    assert query.answer == "The bottom edge."


def test_an_owner_sees_their_boats_visit_but_writes_nothing(stage: Stage) -> None:
    text = page(as_(stage.cast.owner), "visit", stage.visit("accepted").key)
    assert "Luff" in text
    for word in ("Settle with a reason", "Trail of this visit", "Upload"):
        assert word not in text


def test_the_pages_of_a_draft_ask_a_fixed_number_of_queries(
    stage: Stage, django_assert_max_num_queries: Any, django_assert_num_queries: Any
) -> None:
    visit, client = stage.visit(), as_(stage.cast.measurer)
    url = reverse("surveys:panel", args=[visit.key])
    actions.record_reading(
        by=stage.cast.measurer, visit=visit, slug="boom_depth", mast="main", position="", take=1, text="141.2",
        unit="mm", instrument=stage.kit["C-02"],
    )  # fmt: skip
    with django_assert_max_num_queries(16) as few:
        client.get(url)
    actions.withdraw_reading(by=stage.cast.measurer, reading=visit.readings.get(), reason="Again.")
    stage.fill(visit)
    with django_assert_num_queries(len(few)):
        client.get(url)


# ---- Instruments ----

NEW = {
    "identifier": "T-11", "kind": "steel_tape", "accuracy_class": "II", "nominal_length_mm": "30000",
    "reference_temperature_c": "20", "expansion_per_k": "0.0000115",
}  # fmt: skip


def test_an_instrument_is_recorded_calibrated_and_taken_out_of_use(stage: Stage) -> None:
    client = as_(stage.cast.administrator)
    assert client.post(reverse("instruments:record"), NEW).status_code == 302
    assert client.post(reverse("instruments:record"), NEW).status_code == 422
    assert "no calibration" in client.get(reverse("instruments:list")).content.decode()
    calibrate = reverse("instruments:calibrate", args=["T-11"])
    given = {"calibrated_on": "2024-01-10", "due_on": "2025-01-10", "error": "-0,4", "coverage_factor": "2"}
    assert client.post(calibrate, given).status_code == 302
    assert client.post(calibrate, given).status_code == 422
    overdue = client.get(reverse("instruments:list") + "?due=overdue").content.decode()
    assert "T-11" in overdue
    assert "Overdue" in overdue
    assert "T-03" not in overdue
    out = reverse("instruments:out_of_use", args=["T-11"])
    instrument = Instrument.objects.get(identifier="T-11")
    gone = {"edition": instrument.edition, "since": "2025-02-01", "reason": "Kinked."}
    assert client.post(out, {**gone, "edition": 1}).status_code == 422
    assert client.post(out, {**gone, "reason": ""}).status_code == 422
    assert client.post(out, gone).status_code == 302
    assert client.post(out, gone).status_code == 422
    assert "T-11" not in client.get(reverse("instruments:list")).content.decode()
    assert "Kinked." in client.get(reverse("instruments:instrument", args=["T-11"])).content.decode()
    verbs = ["record_instrument", "add_calibration", "take_out_of_use"]
    told = trail_verbs("T-11")
    assert told == verbs


def test_firmware_accreditation_and_maintenance_are_recorded(stage: Stage) -> None:
    """On the piece's page and in the trail; nothing of it is asked for where there is none."""
    client = as_(stage.cast.administrator)
    assert client.post(reverse("instruments:record"), {**NEW, "firmware": "2.1"}).status_code == 302
    given = {"calibrated_on": "2024-01-10", "due_on": "2025-01-10", "error": "0", "coverage_factor": "2"}
    calibrate = reverse("instruments:calibrate", args=["T-11"])
    assert client.post(calibrate, {**given, "accreditation": "LAB-0417"}).status_code == 302
    maintain = reverse("instruments:maintain", args=["T-11"])
    entry = {"done_on": "2024-03-01", "done_by": "Haven Gauges", "what": "Hook straightened.\nCleaned.", "firmware": ""}
    for wrong in (
        {"done_on": "2999-01-01"},
        {"done_by": ""},
        {"what": " "},
        {"what": "x\x0by"},
        {"firmware": "9" * 61},
    ):
        assert client.post(maintain, {**entry, **wrong}).status_code == 422, wrong
    assert client.post(maintain, entry).status_code == 302
    assert client.post(maintain, {**entry, "done_on": "2024-02-01", "firmware": "2.2"}).status_code == 302
    assert client.post(maintain, {**entry, "done_on": "2024-01-20", "firmware": "2.1.5"}).status_code == 302
    page = text_of(as_(stage.cast.measurer).get(reverse("instruments:instrument", args=["T-11"])))
    for words in ("LAB-0417", "<dd>2.2</dd>", "Hook straightened.<br>Cleaned.", "Haven Gauges"):
        assert words in page
    assert page.index("2024-03-01") < page.index("2024-02-01")
    assert Instrument.objects.get(identifier="T-11").maintenance.count() == 3
    assert trail_verbs("T-11") == ["record_instrument", "add_calibration", *["record_maintenance"] * 3]


def trail_verbs(identifier: str) -> list[str]:
    from office.audit.models import Entry

    return list(Entry.objects.filter(subject=identifier).order_by("number").values_list("verb", flat=True))


@pytest.mark.parametrize(
    "wrong",
    [
        {"identifier": ""},
        {"identifier": "T 11/2"},
        {"identifier": "record"},
        {"identifier": "t-03"},
        {"kind": "laser"},
        {"nominal_length_mm": "NaN"},
        {"nominal_length_mm": "1e400"},
        {"limit_of_error": "-1"},
        {"accuracy_class": "IV"},
        {"expansion_per_k": ""},
    ],
)
def test_an_instrument_that_cannot_be(stage: Stage, wrong: dict[str, str]) -> None:
    before = Instrument.objects.count()
    answer = as_(stage.cast.administrator).post(reverse("instruments:record"), {**NEW, **wrong})
    assert answer.status_code == 422
    assert Instrument.objects.count() == before


@pytest.mark.parametrize(
    "wrong",
    [
        {"calibrated_on": "2999-01-01", "due_on": "2999-02-01"},
        {"due_on": "2024-01-10"},
        {"error": "inf"},
        {"coverage_factor": "0"},
        {"coverage_factor": "NaN"},
        {"expanded_uncertainty": "-1"},
    ],
)
def test_a_calibration_that_cannot_be(stage: Stage, wrong: dict[str, str]) -> None:
    given = {"calibrated_on": "2024-01-10", "due_on": "2025-01-10", "error": "0", "coverage_factor": "2", **wrong}
    answer = as_(stage.cast.administrator).post(reverse("instruments:calibrate", args=["T-03"]), given)
    assert answer.status_code == 422
    assert stage.kit["T-03"].calibrations.count() == 1
