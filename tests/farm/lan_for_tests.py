"""A service for tests, opened to a home network as `glimsum up --lan` does; run as a program."""

import os
import sys
import time

from farm.conftest import API, WORKER
from glimsum_services.embedded import EmbeddedService
from glimsum_services.settings import load_settings

if __name__ == "__main__":
    service = EmbeddedService(load_settings(os.environ), api=API, worker=WORKER)
    with service:
        sys.stdout.write(f"{service.url}\n")
        sys.stdout.flush()
        while True:
            time.sleep(1)
