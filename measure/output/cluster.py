"""The way to other machines: an executor on a dask.distributed cluster (extra ``cluster``)."""

import socket
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from typing import Any

from measure import __version__
from measure.errors import InvalidInput

_PATIENCE_S = 10


class Cluster(Executor):
    """The executor of a cluster that can also say how many threads its workers have now."""

    def __init__(self, client: Any) -> None:
        self._client = client
        self._executor = client.get_executor(pure=False)

    def submit(self, fn: Callable, /, *args: object, **kwargs: object) -> Future:
        """Hand out a call."""
        return self._executor.submit(fn, *args, **kwargs)

    @property
    def threads(self) -> int:
        """Fields that can be measured at a time; 0 when there is no worker."""
        return sum(self._client.nthreads().values())


@contextmanager
def cluster_executor(address: str) -> Iterator[Cluster]:
    """Connect to a cluster for the length of a ``with``.

    Parameters
    ----------
    address : str
        Where its scheduler listens, for example ``tcp://192.0.2.7:8786``.

    Yields
    ------
    Cluster

    Raises
    ------
    InvalidInput
        If the package is not installed, nothing answers, there is no worker, or one has another version.
    """
    try:
        import dask
        from distributed import Client
    except ImportError as error:
        raise InvalidInput(
            "--cluster needs one more package: install Gritline with its extra named cluster."
        ) from error
    _refuse_silent(address)
    # a picture travels with its job, so that a lost worker loses nothing; the library would warn of its size
    with dask.config.set({"distributed.admin.large-graph-warning-threshold": "4 GB"}):
        try:
            client = Client(address, timeout="10s", set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            raise InvalidInput(
                f"No cluster answers at {address}; start its scheduler, or leave --cluster out."
            ) from error
        with client:
            _refuse_unfit(client, address)
            yield Cluster(client)


def _refuse_silent(address: str) -> None:
    """Refuse an address without a port, or where nothing listens; the library would try on in the background.

    Raises
    ------
    InvalidInput
        If it is so.
    """
    kind, _, place = address.rpartition("://")
    if kind not in ("", "tcp", "tls"):
        return  # the library knows what else there is
    host, _, port = place.rpartition(":")
    if not host or not port.isdecimal():
        raise InvalidInput(
            f"--cluster {address} has no port; give the address that dask scheduler prints, such as "
            "tcp://192.0.2.7:8786."
        )
    try:
        socket.create_connection((host.strip("[]"), int(port)), timeout=_PATIENCE_S).close()
    except (OSError, OverflowError):
        raise InvalidInput(
            f"No cluster answers at {address}; start its scheduler, or leave --cluster out."
        ) from None


def _refuse_unfit(client: Any, address: str) -> None:
    """Refuse a cluster without workers, or with one that lacks this version.

    Raises
    ------
    InvalidInput
        If it is so.
    """
    try:
        client.wait_for_workers(1, timeout="10s")
    except TimeoutError as error:
        raise InvalidInput(f"The cluster at {address} has no worker; start one, or more.") from error
    # a call of the language itself: where the program is missing, a function of its own could not even arrive
    ask = "__import__('measure.output.field_pool').__version__"
    versions = client.run(eval, ask, on_error="return")
    wrong = sorted({str(v) if isinstance(v, str) else "none" for v in versions.values() if v != __version__})
    if wrong:
        raise InvalidInput(
            f"The workers of the cluster at {address} have Gritline {', '.join(wrong)}, but this is "
            f"{__version__}; install the same version there."
        )
