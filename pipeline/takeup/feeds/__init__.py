"""An export becomes rows: find, archive, parse, validate, merge, account."""

from takeup.feeds.archive import Archived as Archived
from takeup.feeds.archive import archive as archive
from takeup.feeds.archive import archive_path as archive_path
from takeup.feeds.archive import release as release
from takeup.feeds.dialect import SourceDialect as SourceDialect
from takeup.feeds.dialect import default_sources as default_sources
from takeup.feeds.inbox import Found as Found
from takeup.feeds.inbox import Left as Left
from takeup.feeds.inbox import Remembered as Remembered
from takeup.feeds.inbox import find as find
from takeup.feeds.intake import take as take
from takeup.feeds.trial import CheckResult as CheckResult
from takeup.feeds.trial import check as check
