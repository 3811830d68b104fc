"""Figures for a monitor: who reads them, what they say, and that several processes add up."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management.base import CommandError
from django.test import Client
from prometheus_client.parser import text_string_to_metric_families

from office import environment
from office.management.commands import serve
from office.upkeep import metrics
from office.work import workers
from office.work.actions import ask_for_work
from tests.surveys.makers import Stage, record_kit, register_boat

pytestmark = pytest.mark.django_db


def figures(text: str) -> dict[str, float]:
    return {
        f"{one.name}{''.join(sorted(one.labels.values()))}": one.value
        for family in text_string_to_metric_families(text)
        for one in family.samples
    }


def read(client) -> dict[str, float]:
    answer = client.get("/metrics")
    assert answer.status_code == 200
    return figures(answer.content.decode())


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({}, 200),
        ({"REMOTE_ADDR": "10.0.0.7"}, 403),
        ({"HTTP_X_FORWARDED_FOR": "203.0.113.9"}, 403),  # through a proxy on this machine
        ({"HTTP_FORWARDED": "for=203.0.113.9"}, 403),
        ({"REMOTE_ADDR": "10.0.0.7", "HTTP_AUTHORIZATION": "Bearer a long token"}, 200),
        ({"REMOTE_ADDR": "10.0.0.7", "HTTP_AUTHORIZATION": "Bearer another"}, 403),
        ({"REMOTE_ADDR": "10.0.0.7", "HTTP_AUTHORIZATION": "Bearer "}, 403),
    ],
)
def test_who_reads_them(settings, sent, status):
    settings.METRICS_TOKEN = "a long token"
    assert Client().get("/metrics", **sent).status_code == status


def test_without_a_token_nobody_from_elsewhere(settings):
    settings.METRICS_TOKEN = ""
    assert Client().get("/metrics", REMOTE_ADDR="10.0.0.7", HTTP_AUTHORIZATION="Bearer ").status_code == 403


def test_the_office_in_figures(client, cast):
    Stage(cast, register_boat(cast), record_kit(cast)).visit("signed")
    before = read(client)
    assert before["office_visits_waiting"] == 1
    assert before["office_certificates_issued"] == 0
    assert before["office_work_waiting"] == 0
    assert before["office_backup_last_good_timestamp_seconds"] == 0
    assert before["office_worker_last_sign_timestamp_seconds"] == 0
    assert before["office_free_bytes_data"] > 0
    ask_for_work(by=None, kind="recompute")
    workers.give_sign("machine:1")
    client.get("/check/nothing-of-that-name/")
    after = read(client)
    assert after["office_work_waiting"] == 1
    assert after["office_work_oldest_seconds"] > 0
    assert after["office_worker_last_sign_timestamp_seconds"] > 1_700_000_000
    refused = "django_http_responses_total_by_status_total404"
    assert after[refused] == before.get(refused, 0) + 1


def test_labels_are_few(client):
    """Each series costs every request, and the monitor too."""
    families = text_string_to_metric_families(client.get("/metrics").content.decode())
    ours = {one.name: {label for sample in one.samples for label in sample.labels} for one in families}
    assert {
        name: labels for name, labels in ours.items() if name.startswith("django_http") and "_created" not in name
    } == {
        "django_http_requests_latency_including_middlewares_seconds": {"le"},
        "django_http_responses_total_by_status": {"status"},
        "django_http_exceptions_total_by_view": ours.get("django_http_exceptions_total_by_view", set()),
    }


def test_processes_are_added_up(tmp_path, monkeypatch):
    monkeypatch.setenv("OFFICE_DATA", str(tmp_path))
    monkeypatch.delenv(metrics.DIRECTORY, raising=False)
    monkeypatch.setattr("django.conf.settings.DATA_DIR", tmp_path)
    (tmp_path / "metrics" / "8000").mkdir(parents=True)
    (tmp_path / "metrics" / "8000" / "counter_1.db").write_bytes(b"of the last run")
    serve.count_together(8000)
    assert list(Path(os.environ[metrics.DIRECTORY]).iterdir()) == []
    for _ in range(2):
        done = subprocess.run(
            [sys.executable, "-c", "from prometheus_client import Counter; Counter('knocks', 'x').inc(3)"],
            env=os.environ, cwd=environment.ROOT, check=False,
        )  # fmt: skip
        assert done.returncode == 0
    assert figures(metrics.text().decode())["knocks_total"] == 6


def test_a_storage_that_is_away_starts_no_server(settings, monkeypatch):
    def away() -> None:
        raise OSError("The storage of photographs does not answer.")

    monkeypatch.setattr(serve, "try_out", away)
    serve.refuse_a_storage_that_is_away()  # the disk is not tried
    settings.PHOTO_STORAGE = "s3://photos"
    with pytest.raises(CommandError, match=r"does not answer\. Nothing was started"):
        serve.refuse_a_storage_that_is_away()
