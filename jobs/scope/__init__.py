"""What is to be done on a deck, worked out from its history:
the work, the finish, the materials, the steps.

`propose_scopes` answers for many decks in a fixed number of queries.
"""

from jobs.scope.definitions import Need, Override, Scope, WorkStep
from jobs.scope.proposal import propose_scope, propose_scopes

__all__ = ["Need", "Override", "Scope", "WorkStep", "propose_scope", "propose_scopes"]
