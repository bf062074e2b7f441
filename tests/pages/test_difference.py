"""See the difference: what is drawn, how fast, and for whom."""

from lenstest.pages import page_tests

Difference = page_tests("difference.mjs")
