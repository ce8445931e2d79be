"""The date that the environment gives: SOURCE_DATE_EPOCH, whole seconds since 1970.

Source: the SOURCE_DATE_EPOCH specification of reproducible-builds.org: an ASCII decimal number of seconds.
"""

from __future__ import annotations

import datetime as dt
import os
import re

from assembler.errors import AssemblerError

_LAST = int(dt.datetime(9999, 12, 31, 23, 59, 59, tzinfo=dt.UTC).timestamp())
_NUMBER = re.compile(r"[0-9]{1,12}")


def epoch_date() -> dt.date | None:
    """Return the day in UTC that the environment names; None if it names none.

    Raises:
        AssemblerError: what it names is no date before the year 10000.
    """
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    if epoch is None:
        return None
    if not _NUMBER.fullmatch(epoch) or int(epoch) > _LAST:
        raise AssemblerError(
            f"SOURCE_DATE_EPOCH is {epoch[:40]!r}; allowed: whole seconds since 1970, up to {_LAST}"
        )
    return dt.datetime.fromtimestamp(int(epoch), dt.UTC).date()
