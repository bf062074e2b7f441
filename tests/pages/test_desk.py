"""The desk: the day, the person in hand, files, the tray, Rx, downtime."""

from lenstest.pages import page_tests

Desk = page_tests("desk.mjs")
