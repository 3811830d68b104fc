"""Photographs of a visit: the list, one more, one taken off, and the pictures themselves."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from surveys import rules
from surveys.actions.photos import add_photo, remove_photo
from surveys.forms.photos import PhotoForm, RemovePhotoForm
from surveys.models import Photo, Visit
from surveys.queries import photos_of
from surveys.views.common import person_of, posted, sent, status_of, unless_known, visit_for


def show(request: HttpRequest, key: str) -> HttpResponse:
    """All that are kept, and the form for one more."""
    visit, person = visit_for(request, key), person_of(request)
    if request.method == "POST":
        rules.check_may_measure(person, visit)
    form = PhotoForm(sent(request), request.FILES if request.method == "POST" else None, visit=visit)
    if posted(request, form, lambda data: add_photo(by=person, visit=visit, **form.given(data))):
        messages.success(request, "The photograph is kept, without the camera's own data.")
        return redirect("surveys:photos", visit.key)
    context = {"visit": visit, "photos": photos_of(visit), "form": form, "writes": rules.may_write(person, visit)}
    return render(request, "surveys/photos_page.html", context, status=status_of(form))


@require_safe
def one(request: HttpRequest, key: str, photo_key: str) -> HttpResponse:
    """The picture; with ?small the little one."""
    visit = visit_for(request, key)
    photo, small = _photo(visit, photo_key), "small" in request.GET
    try:
        answer = HttpResponse(photo.content(small=small), content_type="image/jpeg")
    except FileNotFoundError:
        raise Http404("The picture's file is not where the office keeps it.") from None
    return unless_known(request, answer, f"{photo.sha256[:32]}{'-small' if small else ''}")


def remove(request: HttpRequest, key: str, photo_key: str) -> HttpResponse:
    visit, person = visit_for(request, key), person_of(request)
    rules.check_may_measure(person, visit)
    photo = _photo(visit, photo_key)
    form = RemovePhotoForm(sent(request))
    if posted(request, form, lambda data: remove_photo(by=person, photo=photo, **data)):
        messages.success(request, "The photograph is removed; that it was there, and its hash, stay in the trail.")
        return redirect("surveys:photos", visit.key)
    return render(
        request, "surveys/remove_photo.html", {"visit": visit, "photo": photo, "form": form}, status=status_of(form)
    )


def _photo(visit: Visit, key: str) -> Photo:
    photo = get_object_or_404(Photo.objects.select_related("added_by"), visit=visit, key=key, removed_at__isnull=True)
    photo.visit = visit
    return photo
