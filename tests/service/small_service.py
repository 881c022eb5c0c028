"""A service with fake jobs as a process of its own, for tests that kill it.

    python -m tests.service.small_service FOLDER [PORT]

It prints its port in one line and then serves until it is ended.  Its imports stand in the function
because every child loads this file again, as the main module of its parent.
"""

from __future__ import annotations

import socket
import sys
from pathlib import Path


def main() -> None:
    import uvicorn

    from api.http.app import create_app
    from api.real_engine import real_engine
    from api.service.assembly import service_of
    from api.service.settings import Settings
    from tests.service.fake_runs import KINDS

    folder = Path(sys.argv[1])
    listener = socket.socket(proto=socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind(("127.0.0.1", int(sys.argv[2]) if len(sys.argv) > 2 else 0))
    listener.listen(128)
    service = service_of(real_engine(), Settings(folder=folder, workers=2), kinds=KINDS)
    print(listener.getsockname()[1], flush=True)
    config = uvicorn.Config(create_app(service), log_config=None, access_log=False)
    uvicorn.Server(config).run(sockets=[listener])


if __name__ == "__main__":
    main()
