"""Language tags against the examples of RFC 5646, Appendix A (Examples of Language Tags)."""

from __future__ import annotations

import pytest

from chapters.fieldtext import FieldTextError, language_value

pytestmark = pytest.mark.outside

#: Appendix A without its grandfathered tag (i-enochian) and its tags of private use alone
#: (x-whatever), which name no language that a player or a page could know.
WELL_FORMED = (
    "de fr ja zh-Hant zh-Hans sr-Cyrl sr-Latn zh-cmn-Hans-CN cmn-Hans-CN zh-yue-HK yue-HK "
    "zh-Hans-CN sr-Latn-RS sl-rozaj sl-rozaj-biske sl-nedis de-CH-1901 sl-IT-nedis "
    "hy-Latn-IT-arevela de-DE en-US es-419 de-CH-x-phonebk az-Arab-x-AZE-derbend "
    "qaa-Qaaa-QM-x-southern de-Qaaa sr-Latn-QM sr-Qaaa-RS en-US-u-islamcal "
    "zh-CN-a-myext-x-private en-a-myext-b-another"
)


@pytest.mark.parametrize("tag", WELL_FORMED.split())
def test_examples_of_the_rfc_are_read(tag: str) -> None:
    """Every example is a tag, in small or large letters; it comes out as the RFC prints it."""
    printed = tag.replace("x-AZE", "x-aze")
    assert language_value(tag) == printed
    assert language_value(tag.upper()) == printed


@pytest.mark.parametrize(
    "tag",
    [
        "de-419-DE",  # two region subtags
        "a-DE",  # a primary language of one letter
        "ar-a-aaa-b-bbb-a-ccc",  # the same singleton twice
        "de-DE-1901-1901",  # the same variant twice (section 2.2.5)
        "en-a",  # a singleton without its extension (section 2.2.6)
        "en_GB",
        "",
    ],
)
def test_invalid_tags_of_the_rfc_are_refused(tag: str) -> None:
    """Appendix A's invalid tags, and what sections 2.2.5 and 2.2.6 forbid."""
    with pytest.raises(FieldTextError, match="is no language tag"):
        language_value(tag)
