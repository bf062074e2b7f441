"""The exam room: refining by touch and keys, the queue, two tablets, signing."""

from lenstest.pages import page_tests

Exam = page_tests("exam.mjs")
