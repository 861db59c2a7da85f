"""Why rows and files are kept out at intake; the codes are kept with the store, which counts them."""

from takeup.store.reasons import FileRefusal as FileRefusal
from takeup.store.reasons import Refusal as Refusal
from takeup.store.reasons import Waiting as Waiting
