"""The daily backup, as long work."""

from __future__ import annotations

import datetime as dt

from django.conf import settings
from django.db import Error as DatabaseError

from office.audit.refusals import WrongState
from office.backups import making, snapshots
from office.upkeep import backups
from office.work.daily import daily
from office.work.kinds import kind
from office.work.progress import Progress, TryAgain


@kind("backup", "Daily backup", tries=5)
def back_up(progress: Progress) -> None:
    """One archive for each time it is asked for: what a killed worker has finished already is not made twice."""
    former = making.last_good()
    if former is not None and dt.datetime.fromisoformat(former.at) >= progress.work.asked_at:
        progress.say("It has been made already.")
        return
    try:
        made = making.make(settings.BACKUP_DIR, keep=settings.BACKUP_KEEP)
    except (making.NoRecipient, ValueError) as error:
        raise WrongState(str(error)) from error
    except (making.Busy, snapshots.CannotCopy) as error:
        raise TryAgain(str(error)) from error
    except (OSError, DatabaseError) as error:
        raise TryAgain(f"No backup was made: {error}.") from error
    progress.say(f"{made.path.name}: {len(made.manifest['members'])} files, {made.path.stat().st_size:,} bytes.")


daily("backup", backups.hour)
