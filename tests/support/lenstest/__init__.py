"""Throw-away services for tests that drive the real programs.

    import unittest
    from lenstest import Service

    def setUpModule():
        global svc
        svc = Service()

    def tearDownModule():
        svc.close()

One service a file, one network a test (svc.network()).  Standard library only.
"""

from .client import Answer, Client
from .fixture import Network, uuid7
from .service import Service, SqlError, alive, plain_build, repo, wait_until

__all__ = ["Answer", "Client", "Network", "Service", "SqlError", "alive",
           "plain_build", "repo", "uuid7", "wait_until"]
