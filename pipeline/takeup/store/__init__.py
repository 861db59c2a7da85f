"""The store: numbered tables, rows by insertion only, and what held at any night; only here SQL is spoken."""

from takeup.store.store import Night as Night
from takeup.store.store import Store as Store
from takeup.store.store import day_number as day_number
