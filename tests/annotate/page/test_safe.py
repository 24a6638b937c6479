"""What keeps a title from becoming markup, a path or a script."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annotate.page import pages, safe
from annotate.page.folder import page_data
from annotate.page.viewer import viewer_html, write_viewer_page
from tests.annotate.page.casefolder import usual, write_case

HOSTILE = "</title></script><script>alert(1)</script><!--<img src=x onerror=alert(1)>\"'{{ 7*7 }}"


@given(
    st.recursive(
        st.text() | st.integers() | st.none(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
        max_leaves=8,
    )
)
def test_script_json_keeps_the_value_and_cannot_end_the_element(value: object) -> None:
    """The JSON reads back as the same value and holds none of the characters HTML looks for."""
    text = safe.script_json(value)
    assert json.loads(text) == value
    assert not re.search("[<>&\u2028\u2029]", text)


def test_hash_source_of_the_standard() -> None:
    """The hash of CSP Level 3's own example script."""
    assert (
        safe.hash_source("alert('Hello, world.');")
        == "'sha256-qznLcsROx4GACP2dm0UCKCzCG+HiZ1guq6ZZDob/Tng='"
    )


@given(st.text(min_size=1, max_size=300))
def test_folder_names(text: str) -> None:
    """A name fits every disk and different ids get different names."""
    name = safe.folder_name(text)
    assert re.fullmatch(r"[a-z0-9][a-z0-9_-]{0,63}", name)
    assert name != safe.folder_name(text + "x")


@pytest.mark.parametrize("text", ["con", "COM1", "..", "a/b", "Ω", "-x", "x" * 65, "a.b"])
def test_unsafe_names_get_a_hash(text: str) -> None:
    """Device names, dots, slashes and long ids never become names as they are."""
    assert safe.folder_name(text) != text


def test_a_hostile_title_stays_text(tmp_path: Path) -> None:
    """Markup in titles, notes, tags and reasons is text, and the page has only our own scripts."""
    plan = usual()
    plan.title = HOSTILE
    plan.steps["isolate"] |= {"title": HOSTILE, "note": HOSTILE}
    plan.away = [(plan.away[0][0], plan.away[0][1], HOSTILE)]
    plan.extra = {**plan.extra, "tags": [HOSTILE], "presenter": HOSTILE, "procedure": HOSTILE}
    write_case(tmp_path, plan)
    text = write_viewer_page(tmp_path, tmp_path).read_text(encoding="utf-8")
    assert "<script>alert" not in text
    assert "<img src=x" not in text
    assert "49" not in re.findall(r"<title>(.*?)</title>", text, re.S)[0]
    assert text.count("<script") == 1 + len(pages.VIEWER_SCRIPTS)


def test_the_policy_allows_exactly_our_scripts(tmp_path: Path) -> None:
    """Every inline script and style of the page has its hash in the policy, and no other is there."""
    write_case(tmp_path, usual())
    text = viewer_html(page_data(tmp_path))
    policy = re.findall(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)[0]
    inside = re.findall(r"<(?:script|style)>(.*?)</(?:script|style)>", text, re.S)
    wanted = {base64.b64encode(hashlib.sha256(one.encode()).digest()).decode() for one in inside}
    assert set(re.findall(r"sha256-([A-Za-z0-9+/=]+)", policy)) == wanted
    assert "unsafe" not in policy and "http" not in policy.replace("http-equiv", "")
    assert " style=" not in text and " onclick" not in text


def test_the_page_names_no_address(tmp_path: Path) -> None:
    """Nothing in the page leads to a network: no absolute address but the names of standards."""
    write_case(tmp_path, usual())
    text = viewer_html(page_data(tmp_path))
    found = set(re.findall(r"https?://[^\s\"')]+", text))
    assert found <= {"http://www.w3.org/2000/svg"}
