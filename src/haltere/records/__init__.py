"""What leaves the field book for other programs, and comes back from them.

An open book and an outing come in; sidecars and moved files go out, and what other programs wrote
comes back as decisions. It must not know how a picture was judged, nor who asked.
"""

from haltere.records.dropped import bring_back, move_away
from haltere.records.moving import Moved
from haltere.records.sidecars import Conflict, Exchange, Said, exchange

__all__ = ["Conflict", "Exchange", "Moved", "Said", "bring_back", "exchange", "move_away"]
