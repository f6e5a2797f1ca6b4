"""What is to be done on a deck, worked out from its history: the work, the finish, the materials, the steps.

`propose` answers for many decks in a fixed number of queries.
"""

from jobs.scope.parts import Need, PackCount, Scope, Step, Wish
from jobs.scope.proposing import propose, propose_one

__all__ = ["Need", "PackCount", "Scope", "Step", "Wish", "propose", "propose_one"]
