"""The timeline, and pages that are kept current by server-sent events."""

from lenstest.pages import page_tests

Timeline = page_tests("timeline.mjs")
