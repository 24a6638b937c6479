"""Readability profiles as tables."""

from __future__ import annotations

from dataclasses import FrozenInstanceError, fields

import pytest

from annotate.captions.profiles import BBC, NOTES, PROFILES, Figure, Profile


@pytest.mark.parametrize("profile", PROFILES.values(), ids=lambda p: p.name)
def test_every_figure_names_its_clause(profile: Profile) -> None:
    """A figure without a source is not in the table."""
    figures = [getattr(profile, field.name) for field in fields(profile)]
    figures += [profile.speed.fastest]
    figures += [profile.gap.shortest_ms] if profile.gap else []
    figures += [profile.sync.earliest_ms, profile.sync.lingers_ms] if profile.sync else []

    found = [figure for figure in figures if isinstance(figure, Figure)]

    assert len(found) >= 3
    assert all(figure.clause.strip() and figure.value >= 0 for figure in found)


def test_profiles_are_frozen_and_found_by_name() -> None:
    """Nobody changes a published figure by accident."""
    with pytest.raises(FrozenInstanceError):
        NOTES.line_columns = BBC.line_columns  # type: ignore[misc]
    assert all(PROFILES[name].name == name for name in PROFILES)


def test_needed_time_is_rounded_up_and_never_below_the_shortest() -> None:
    """21 characters at 20 a second need 1050 ms; one needs the shortest time of a cue."""
    assert NOTES.needed_ms(21, 4) == 1050
    assert NOTES.needed_ms(1, 1) == 1000
    assert BBC.needed_ms(40, 7) == 2334
