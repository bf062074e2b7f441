"""The shell: files as they are served, signing in, themes, the lock."""

from lenstest.pages import page_tests

Shell = page_tests("shell.mjs", ("desk", "prescriber", "lab"))
