"""The server's name and service on the local network (RFC 6762, RFC 6763), by the library zeroconf."""

from __future__ import annotations

import logging

from zeroconf import Error, ServiceInfo
from zeroconf.asyncio import AsyncZeroconf

from api.access.guests import WhereToFind

log = logging.getLogger(__name__)

SERVICE = "_https._tcp.local."


class Announcer:
    """Announces where the server is found; what fails here stops nothing, since the addresses lead there as well."""

    def __init__(self) -> None:
        """Announce nothing yet."""
        self._network: AsyncZeroconf | None = None

    async def tell(self, where: WhereToFind) -> bool:
        """Announce it anew; returns whether the network took it."""
        await self.stop()
        if not where.addresses:
            return False
        label = where.name.removesuffix(".local")
        info = ServiceInfo(
            SERVICE,
            f"{label}.{SERVICE}",
            port=where.https_port,
            addresses=[address.packed for address in where.addresses],
            properties={"path": "/"},
            server=f"{where.name}.",
        )
        try:
            # Made anew each time: it listens on the interfaces that there were when it was made.
            self._network = AsyncZeroconf()
            await self._network.async_register_service(info, allow_name_change=True)
        except (OSError, Error) as failed:
            log.warning("The name %s could not be announced: %s", where.name, failed)
            await self.stop()
            return False
        return True

    async def stop(self) -> None:
        """Take the name back."""
        network, self._network = self._network, None
        if network is not None:
            try:
                await network.async_unregister_all_services()
                await network.async_close()
            except (OSError, Error) as failed:
                log.warning("The name could not be withdrawn: %s", failed)
