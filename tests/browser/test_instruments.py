"""The browser tests' own instruments find what they are there to find."""

from __future__ import annotations

import pytest

GOOD = """<!doctype html><html lang="en"><head><title>Good</title></head>
<body><main><h1>Good</h1><label>Name <input name="name"></label></main></body></html>"""
BAD = """<!doctype html><html lang="en"><head><title>Bad</title></head>
<body><main><h1>Bad</h1><input name="name"><table width="900"><tr><td>wide</td></tr></table></main></body></html>"""

pytestmark = pytest.mark.django_db(transaction=True)


def test_a_good_page_passes(page, no_axe_violations, fits_a_phone):
    page.set_content(GOOD)
    no_axe_violations()
    fits_a_phone()


def test_a_field_without_a_label_is_found(page, no_axe_violations):
    page.set_content(BAD)
    with pytest.raises(AssertionError, match="label"):
        no_axe_violations()


def test_a_page_too_wide_for_a_phone_is_found(page, fits_a_phone):
    page.set_content(BAD)
    with pytest.raises(AssertionError, match="pixels wide"):
        fits_a_phone()


def test_a_screenshot_is_kept(page, look):
    page.set_content(GOOD)
    path = look("instruments")
    assert path.stat().st_size > 1000
