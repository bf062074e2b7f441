"""The API description: held against the routes, and answers against it.

Standard library only, as the tests that use it.
"""

from . import page
from .checked import Checked
from .description import Description
from .routes import Route, problem_words, routes
from .schema import Faults, Schemas, read

__all__ = ["Checked", "Description", "Faults", "Route", "Schemas", "page",
           "problem_words", "read", "routes"]
