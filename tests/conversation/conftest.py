"""Emails that come in."""

from tests.mail.arriving import arrive as arrive
from tests.mail.arriving import inbox as inbox
from tests.mail.arriving import letter as letter
