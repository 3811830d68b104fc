"""The interface's page for people: its description, read out. Loads nothing from elsewhere, needs no script."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_safe

from office.interface import limits, problems
from office.interface.api import api


@login_not_required
@require_safe
def root(request: HttpRequest) -> HttpResponse:
    return redirect("api:docs")


@login_not_required
@require_safe
def docs(request: HttpRequest) -> HttpResponse:
    schema = api.get_openapi_schema()
    operations = [
        {"method": method.upper(), "path": address, **operation}
        for address, methods in schema["paths"].items()
        for method, operation in methods.items()
    ]
    context = {
        "info": schema["info"],
        "operations": operations,
        "schemas": [(name, _fields(one)) for name, one in sorted(schema["components"]["schemas"].items())],
        "limit": limits.WITH_A_KEY,
    }
    return render(request, "interface/docs.html", context)


def _fields(schema: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Each field of a form: its name, its type in words, what it means."""
    needed = set(schema.get("required", ()))
    return [
        (name, _type(one) + ("" if name in needed else ", may be left out"), one.get("description", ""))
        for name, one in schema.get("properties", {}).items()
    ]


def _type(schema: dict[str, Any]) -> str:
    if "$ref" in schema:
        return str(schema["$ref"].rsplit("/", 1)[-1])
    if "anyOf" in schema:
        return " or ".join(_type(one) for one in schema["anyOf"])
    if schema.get("type") == "array":
        return f"list of {_type(schema.get('items', {}))}"
    return str(schema.get("format") or schema.get("type", "anything"))


@csrf_exempt
@login_not_required
def unknown(request: HttpRequest, rest: str) -> HttpResponse:
    """Whatever else is asked under /api/: a problem document like any other error there."""
    return problems.problem(404, "The interface has no such address; its description is at /api/openapi.json.")
