"""Run the page's server until somebody ends it."""

import asyncio
import contextlib
import sys
from collections.abc import Callable
from typing import Any, Final

import uvicorn

from tensionlog.page.app import Shell, make_app, tick
from tensionlog.page.clients import Clients

SWITCH_S: Final = 0.001
"""How long one thread may keep the others waiting; the interpreter's own is five times it."""


class Server:
    """One server; `run` blocks until Ctrl-C or `stop`.

    Attributes:
        shell: What the endpoints share; its `show` is to be given to the desk.
    """

    def __init__(self, shell: Shell, *, host: str, port: int) -> None:
        self.shell = shell
        self._loop: asyncio.AbstractEventLoop | None = None
        config = uvicorn.Config(
            make_app(shell),
            host=host,
            port=port,
            log_level="warning",
            access_log=False,
            server_header=False,
            timeout_graceful_shutdown=1,
            lifespan="off",
            ws="none",
        )
        self._server = uvicorn.Server(config)
        shell.goes_on = lambda: not self._server.should_exit

    @property
    def port(self) -> int | None:
        """Port that it listens on, once it does."""
        for server in getattr(self._server, "servers", ()):
            for socket in server.sockets:
                return int(socket.getsockname()[1])
        return None

    def show(self, scene: Any) -> None:
        """Tell every page how the bench stands; called from any thread."""
        loop = self._loop
        if loop is not None and not loop.is_closed():
            with contextlib.suppress(RuntimeError):  # closed between asking and telling
                loop.call_soon_threadsafe(self.shell.clients.show, scene)

    def stop(self) -> None:
        """Have it end; called from any thread."""
        self._server.should_exit = True

    def run(self, on_start: Callable[[int], object] = lambda _port: None) -> None:
        """Serve until the end.

        Args:
            on_start: Told the port once it listens.
        """
        # A look at the whole sitting computes for long: a verdict must not wait behind it.
        sys.setswitchinterval(SWITCH_S)
        with contextlib.suppress(KeyboardInterrupt):
            asyncio.run(self._serve(on_start))

    async def _serve(self, on_start: Callable[[int], object]) -> None:
        self._loop = asyncio.get_running_loop()
        clients: Clients = self.shell.clients
        clients.show(self.shell.desk.scene())
        serving = asyncio.create_task(self._server.serve())
        while not self._server.started and not serving.done():
            await asyncio.sleep(0.01)
        if self.port is not None:
            on_start(self.port)
        ticking = asyncio.create_task(tick(self.shell))
        await serving
        ticking.cancel()
