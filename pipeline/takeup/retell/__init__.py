"""Past nights told again from archive and ledger: for the site's own store, or beside the site."""

from takeup.retell.rebuilding import rebuild
from takeup.retell.rehearsal import rehearse
from takeup.retell.replaying import replay

__all__ = ["rebuild", "rehearse", "replay"]
