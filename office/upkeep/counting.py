"""Counts requests by django-prometheus, with few of its figures and labels: each costs every request a little."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django_prometheus.middleware import Metrics
from django_prometheus.utils import Time, TimeSince

KEPT = frozenset(
    {
        "django_http_requests_latency_including_middlewares_seconds",  # how many and how long, all together
        "django_http_responses_total_by_status",  # what was refused (4xx) or failed (5xx)
        "django_http_exceptions_total_by_view",
    }
)


class FewMetrics(Metrics):
    """The library's figures that are kept; the others are None."""

    def register_metric(
        self, metric_cls: Any, name: str, documentation: str, labelnames: Any = (), **options: Any
    ) -> Any:
        kept = name in KEPT
        return super().register_metric(metric_cls, name, documentation, labelnames, **options) if kept else None


class CountingMiddleware:
    """How long each request took and how it was answered; faults by page."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response, self.metrics = get_response, FewMetrics.get_instance()
        self._by_status: dict[int, Any] = {}  # looked up once for each status

    def __call__(self, request: HttpRequest) -> HttpResponse:
        begun = Time()
        answer = self.get_response(request)
        status = answer.status_code
        counter = self._by_status.get(status)
        if counter is None:
            counter = self._by_status[status] = self.metrics.responses_by_status.labels(status=str(status))
        counter.inc()
        self.metrics.requests_latency_before.observe(TimeSince(begun))
        return answer

    def process_exception(self, request: HttpRequest, exception: Exception) -> None:
        page = request.resolver_match.view_name if request.resolver_match else ""
        self.metrics.exceptions_by_view.labels(view=page).inc()
