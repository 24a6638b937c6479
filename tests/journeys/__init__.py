"""The job as a user meets it: the command, real recordings, bad input, a run that is stopped."""

import pytest

pytest.register_assert_rewrite("tests.journeys.trial")
