"""A lock for a lake that is shared by several machines: a row of a Delta table, acquired by an atomic commit."""

from __future__ import annotations

import threading
import time
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field

import polars as pl
from deltalake import CommitProperties, DeltaTable, write_deltalake
from deltalake.exceptions import DeltaError, TableNotFoundError

from pipeline.errors import HeelwardError
from pipeline.locks import Holder, log, wait_until

EXPIRES_S = 60.0
"""A holder without a renewal for this time is treated as ended. Measured by the waiting process's clock. [s]"""
_NO_RETRY = CommitProperties(max_commit_retries=0)


@dataclass
class Lease:
    """The exclusive right to write a lake.

    Attributes
    ----------
    uri : str
        Location of the lease's table.
    storage_options : mapping
    step : str
    expires_s : float
    """

    uri: str
    storage_options: Mapping[str, str]
    step: str
    expires_s: float = EXPIRES_S
    _token: str = field(default_factory=lambda: uuid.uuid4().hex)
    _renewed: float = -1.0
    _seen: tuple[int, float] = (-1, 0.0)
    _ended: threading.Event = field(default_factory=threading.Event)

    @contextmanager
    def held(self, wait_s: float) -> Iterator[Lease]:
        """Hold the lease while the block runs, and renew it in the background.

        Raises
        ------
        HeelwardError
            If another process holds it for longer than ``wait_s``.
        """
        wait_until(self._take, f"the lake of {self.uri}", lambda: self._read()[1] or "another run", wait_s, 0.5)
        beat = threading.Thread(target=self._keep, daemon=True)
        beat.start()
        try:
            yield self
        finally:
            self._ended.set()
            beat.join()
            self._release()

    def check(self) -> None:
        """Stop writing if another process may hold the lease.

        Raises
        ------
        HeelwardError
            If it could not be renewed in time.
        """
        if time.monotonic() - self._renewed > self.expires_s * 0.8:
            raise HeelwardError(
                f"the lake's lock ({self.uri}) could not be renewed for {self.expires_s * 0.8:.0f} s. Another run "
                "may write now, so this run stops. The lake is consistent.\nfix: check the connection, then run again"
            )

    def _open(self) -> DeltaTable:
        options = dict(self.storage_options) or None
        try:
            return DeltaTable(self.uri, storage_options=options)
        except TableNotFoundError:
            with suppress(DeltaError):  # another run may have created it in the meantime
                write_deltalake(
                    self.uri, _row("", ""), mode="error", storage_options=options, commit_properties=_NO_RETRY
                )
            return DeltaTable(self.uri, storage_options=options)

    def _read(self) -> tuple[str, str, DeltaTable]:
        table = self._open()
        token, holder = pl.read_delta(table).row(0)
        return token, holder, table

    def _take(self) -> bool:
        token, holder, table = self._read()
        version, now = int(table.version()), time.monotonic()
        if version != self._seen[0]:
            self._seen = (version, now)
        if token and now - self._seen[1] < self.expires_s:
            return False
        if token:
            log.warning("the lake's lock was left by %s without renewal for %g s", holder, self.expires_s)
        return self._commit(table, self._token, str(Holder.here(self.step)))

    def _commit(self, table: DeltaTable, token: str, holder: str) -> bool:
        start = time.monotonic()
        try:
            write_deltalake(table, _row(token, holder), mode="overwrite", commit_properties=_NO_RETRY)
        except DeltaError:
            return False
        self._renewed = start
        return True

    def _keep(self) -> None:
        while not self._ended.wait(self.expires_s / 4.0):
            try:
                token, holder, table = self._read()
            except (DeltaError, OSError):
                continue
            if token != self._token:
                self._renewed = -1.0
                return
            self._commit(table, token, holder)

    def _release(self) -> None:
        try:
            token, _, table = self._read()
            if token == self._token:
                self._commit(table, "", "")
        except (DeltaError, OSError) as error:
            log.warning("the lake's lock could not be released; it expires in %g s: %s", self.expires_s, error)


def _row(token: str, holder: str) -> pl.DataFrame:
    return pl.DataFrame({"token": [token], "holder": [holder]})
