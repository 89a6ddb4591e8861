"""Run by every Python that a test starts: keeps its logs where the test run keeps them."""

import os

if "PREPCHECK_TEST_SERVER" in os.environ:
    from tests.store.logs import keep_on

    keep_on(os.environ["PREPCHECK_TEST_SERVER"])
