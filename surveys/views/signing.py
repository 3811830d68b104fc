"""Stop checks settled, queries answered, the visit signed."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.debug import sensitive_post_parameters

from office.people import second
from office.people.confirming import ask, is_recent
from office.people.limits import limited
from office.policy import queries as policy_queries
from office.policy.models import Unauthorised
from surveys import actions, competence, rules
from surveys.actions.signing import missing_for_signature
from surveys.content import canonical_content, sha256
from surveys.figures import chooses_method, derive_visit
from surveys.forms.visits import AnswerForm, SettleForm, SignForm
from surveys.models import Visit
from surveys.views.common import person_of, posted, sent, status_of, visit_for


def settle(request: HttpRequest, key: str) -> HttpResponse:
    """One stop check: what it says, and the reason why it may stand."""
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    rules.check_state(visit, "settle")
    check_key = request.GET.get("check", "")
    found = next((one for one in derive_visit(visit).checks if one.key == check_key and one.grade == "stop"), None)
    if found is None:
        raise Http404("This check does not stand any more.")
    form = SettleForm(sent(request), methods=chooses_method(found))
    done = posted(request, form, lambda data: actions.settle_check(by=person, visit=visit, check_key=check_key, **data))
    if done:
        messages.success(request, "The check is settled; your reason goes with the signature.")
        return redirect("surveys:readings", visit.key)
    former = visit.settlements.filter(check_key=check_key).select_related("settled_by")
    context = {"visit": visit, "check": found, "form": form, "former": former}
    return render(request, "surveys/settle.html", context, status=status_of(form))


@sensitive_post_parameters("password")
@limited("password", "10/m/user")
def sign(request: HttpRequest, key: str) -> HttpResponse:
    """What will be signed, what is missing, the password typed again; then the second factor, where there is one."""
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    note = request.POST.get("note", "")  # given back by the session after the second factor; no page ever holds it
    form = SignForm(sent(request), typed_before=bool(note), initial={"edition": visit.edition})
    has_second = second.has_one(person)
    if has_second and not is_recent(request):
        noted = posted(request, form, lambda data: actions.note_of_password(by=person, visit=visit, **data))
        if noted:
            return ask(request, sent=_without_password(request.POST, noted))
    else:
        signed = posted(
            request,
            form,
            lambda data: actions.sign_visit(by=person, visit=visit, note=note, **data),
            lambda: visit.edition,
        )
        if signed:
            messages.success(request, "Signed. The visit now waits for its review.")
            return redirect("surveys:visit", visit.key)
    return _sign_page(request, visit, form, has_second=has_second)


def _without_password(sent: QueryDict, note: str) -> QueryDict:
    kept = sent.copy()
    kept["password"], kept["note"] = "", note
    return kept


def _sign_page(request: HttpRequest, visit: Visit, form: SignForm, *, has_second: bool) -> HttpResponse:
    person = person_of(request)
    why_not = rules.why_not(rules.check_state, visit, "sign") or rules.why_not(rules.check_may_sign, person, visit)
    context = {"visit": visit, "form": form, "why_not": why_not, "has_second": has_second}
    if visit.rig is not None:
        figures, edition = derive_visit(visit), policy_queries.current()
        context |= {
            "figures": figures,
            "gaps": competence.gaps(visit, edition),
            "gaps_bar": edition.on_unauthorised == Unauthorised.BLOCK,
            "missing": missing_for_signature(visit, figures),
            "content_sha256": sha256(canonical_content(visit, figures)),
            "derived": sum(one.value is not None for one in figures.derivation.dimensions),
            "settlements": visit.settlements.all(),
        }
    return render(request, "surveys/sign.html", context, status=status_of(form))


def answer(request: HttpRequest, key: str, query_key: str) -> HttpResponse:
    """The reviewer's question and the measurer's answer."""
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    query = get_object_or_404(visit.queries.select_related("asked_by"), key=query_key)
    query.visit = visit
    form = AnswerForm(sent(request))
    if posted(request, form, lambda data: actions.answer_query(by=person, query=query, **data)):
        messages.success(request, "The answer goes back to the reviewer with your next signature.")
        return redirect("surveys:visit", visit.key)
    return render(
        request, "surveys/answer.html", {"visit": visit, "query": query, "form": form}, status=status_of(form)
    )
