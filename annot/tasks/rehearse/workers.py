"""Where cases run: in this process, on all cores, or on a Dask cluster."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from itertools import islice
from typing import Any, TypeVar

from annot.errors import AnnotError, InputError

Case = TypeVar("Case")
WAITING_PER_WORKER = 4  # enough to keep workers busy, few enough to stop soon


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where cases run.

    Attributes
    ----------
    workers : int
        Processes on this machine; 1 runs in this one. Unused with a scheduler.
    scheduler : str or None
        Address of a Dask scheduler, whose workers have annot installed.
    """

    workers: int = 1
    scheduler: str | None = None


def finished(
    run: Callable[[Case], Any], cases: Iterable[Case], place: Place
) -> Iterator[tuple[Case, Any]]:
    """Run cases and give each as it is finished, in whatever order that happens.

    Parameters
    ----------
    run : callable
        Takes a case; importable by name, so that other processes find it.
    cases : iterable
        Numbers, or whatever says what to do.
    place : Place

    Raises
    ------
    InputError
        If Dask is missing or the scheduler does not answer.
    """
    if place.scheduler is not None:
        yield from _on_cluster(run, cases, place.scheduler)
    elif place.workers == 1:
        for case in cases:
            yield case, run(case)
    else:
        yield from _on_cores(run, cases, place.workers)


def _on_cores(
    run: Callable[[Case], Any], cases: Iterable[Case], workers: int
) -> Iterator[tuple[Case, Any]]:
    import multiprocessing
    from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
    from concurrent.futures.process import BrokenProcessPool

    # a fresh interpreter per worker: a fork would take this one's threads half with it
    context = multiprocessing.get_context("spawn")
    waiting = iter(cases)
    with ProcessPoolExecutor(workers, mp_context=context) as pool:
        running = {
            pool.submit(run, case): case for case in islice(waiting, workers * WAITING_PER_WORKER)
        }
        try:
            while running:
                done, _ = wait(running, return_when=FIRST_COMPLETED)
                for future in done:
                    yield running.pop(future), _result(future, BrokenProcessPool)
                for case in islice(waiting, len(done)):
                    running[pool.submit(run, case)] = case
        finally:
            pool.shutdown(wait=True, cancel_futures=True)


def _on_cluster(
    run: Callable[[Case], Any], cases: Iterable[Case], address: str
) -> Iterator[tuple[Case, Any]]:
    dask = _dask()
    with _client(dask, address) as client:
        waiting = iter(cases)
        room = WAITING_PER_WORKER * max(sum(client.nthreads().values()), 1)
        numbers = {client.submit(run, case, pure=False): case for case in islice(waiting, room)}
        stream = dask.as_completed(list(numbers), loop=client.loop)
        for future in stream:
            case = numbers.pop(future)
            yield case, _result(future, dask.KilledWorker, dask.CancelledError, OSError)
            for more in islice(waiting, 1):
                following = client.submit(run, more, pure=False)
                numbers[following] = more
                stream.add(following)


def _result(future: Any, *deaths: type[BaseException]) -> Any:
    try:
        return future.result()
    except deaths:
        raise AnnotError(
            "A worker was ended from outside, most likely for want of memory: run again with fewer "
            "workers; with the same --journal, finished cases are not repeated."
        ) from None


def _dask() -> Any:
    """Return Dask's own module for clusters: it states no types."""
    try:
        return import_module("distributed")
    except ModuleNotFoundError:
        raise InputError(
            "A scheduler needs Dask, which is not installed: install the extra with "
            'pip install "annot[dask]", or leave --scheduler out.'
        ) from None


@contextmanager
def _client(dask: Any, address: str) -> Iterator[Any]:
    try:
        client = dask.Client(address, timeout="10s", set_as_default=False)
    except (OSError, ValueError, TimeoutError):
        raise InputError(
            f"No Dask scheduler answers at {address}: start one, or check its address."
        ) from None
    try:
        yield client
    finally:
        client.close()
