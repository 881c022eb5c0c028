"""The service put together from its settings: here alone it is decided where solves run."""

from __future__ import annotations

from collections.abc import Mapping

from api.engine import Engine
from api.service.children import Children
from api.service.kinds import KINDS, Kind
from api.service.records import Ending, Order
from api.service.service import Service
from api.service.settings import Settings
from api.service.store import Store
from api.service.supervise import Channel, supervise


def modules_of(kinds: Mapping[str, Kind]) -> list[str]:
    """Return the modules that children of these kinds run."""
    return ["api.service.warm", *sorted({kind.run.partition(":")[0] for kind in kinds.values()})]


def service_of(engine: Engine, settings: Settings, *, kinds: Mapping[str, Kind] = KINDS) -> Service:
    """Return a service that is ready to start; raises StoreError."""
    store = Store(settings.folder, most_bytes=settings.store_bytes)
    if settings.cluster is not None:
        from api.service.cluster import cluster_service

        return cluster_service(store, engine, settings, kinds)
    children = Children(settings.workers, modules_of(kinds))

    def solve(order: Order, channel: Channel) -> Ending:
        run = kinds[order.kind].run
        return supervise(order, channel, run=run, children=children, settings=settings)

    return Service(store, engine, solve, settings, kinds=kinds, children=children)
